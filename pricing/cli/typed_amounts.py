"""Amounts and days as they are typed on the command line."""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from pricing.errors import DecisionError

if TYPE_CHECKING:
    from pricing.store.market import Market


@dataclass(frozen=True)
class Typed:
    """An amount with the currency that was typed beside it, if any."""

    amount: Decimal
    currency: str | None

    def in_base(self, market: "Market", on: date) -> Decimal:
        """The amount in the market's base currency at a day.

        Raises:
            MoneyError: there is no rate on that day.
        """
        if self.currency is None or self.currency == market.base_currency:
            return self.amount
        from pricing.decisions.amounts import Conversion
        from pricing.store.rates import own_rates_of

        rates = own_rates_of(market.path)
        return Conversion.at(self.currency, market.base_currency, on, rates).to_base(self.amount)


def typed_amount(text: str | None, name: str) -> Typed | None:
    """An amount such as ``12500``, ``GBP 12500`` or ``12500 GBP``.

    Raises:
        DecisionError: it is none.

    >>> typed_amount("GBP 4650.50", "asking price")
    Typed(amount=Decimal('4650.50'), currency='GBP')
    """
    if text is None:
        return None
    match = re.fullmatch(r"(?:([A-Za-z]{3})\s*)?([-+0-9.eE_]+|[A-Za-z]+)(?:\s*([A-Za-z]{3}))?", text.strip())
    try:
        amount = Decimal(match.group(2)) if match else Decimal("NaN")
    except InvalidOperation:
        amount = Decimal("NaN")
    if match is None or not amount.is_finite() or (match.group(1) and match.group(3)):
        raise DecisionError(
            f"the {name} is not an amount: got {text!r}, expected one such as 12500 or GBP 12500"
        )
    code = match.group(1) or match.group(3)
    return Typed(amount, None if code is None else code.upper())


def typed_day(text: str | None) -> date | None:
    """A day such as 2026-06-30.

    Raises:
        DecisionError: it is none.
    """
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise DecisionError(f"the date is not a day: got {text!r}, expected YYYY-MM-DD") from None
