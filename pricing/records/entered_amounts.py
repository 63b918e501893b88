"""One rule for every amount that a person enters: a price of a car, or a cost beside one."""

from decimal import Decimal

from pricing.errors import MoneyError
from pricing.money.currencies import SMALL_UNIT_CURRENCIES
from pricing.records.contract import HIGHEST_AMOUNT, LOWEST_AMOUNT, SMALL_UNITS


def bounds(currency: str, *, cost: bool = False) -> tuple[int, int]:
    """The least and most that a price may be, in units of its currency; a cost may also be nought.

    >>> bounds("EUR"), bounds("JPY", cost=True)
    ((10, 250000000), (0, 2500000000000))
    """
    most = HIGHEST_AMOUNT * (SMALL_UNITS if currency in SMALL_UNIT_CURRENCIES else 1)
    return 0 if cost else LOWEST_AMOUNT, most


def entered(name: str, amount: Decimal | None, currency: str, *, cost: bool = False) -> None:
    """Refuse an amount that cannot be meant; None says nothing and passes.

    Raises:
        MoneyError: it is no number, below the least or above the most.

    >>> entered("reserve", Decimal(9_000_000_000), "EUR")
    Traceback (most recent call last):
    pricing.errors.MoneyError: reserve absurd: got 9000000000, expected 10 to 250,000,000
    """
    least, most = bounds(currency, cost=cost)
    if amount is not None and not (amount.is_finite() and least <= amount <= most):
        raise MoneyError(absurd(name, amount, currency, cost=cost))


def absurd(name: str, amount: Decimal | float, currency: str, *, cost: bool = False) -> str:
    """The sentence that refuses an amount at every door."""
    least, most = bounds(currency, cost=cost)
    got = f"{amount:f}".rstrip("0").rstrip(".") if "." in f"{amount:f}" else f"{amount:f}"
    return f"{name} absurd: got {got}, expected {least:,} to {most:,}"
