"""Amounts and days as they are typed on the command line."""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
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
    """An amount such as ``12500``, ``GBP 12500`` or ``£12,500``, read as a file of sale records is.

    Raises:
        DecisionError: it is none, or its sign stands for several currencies.

    >>> typed_amount("GBP 4650.50", "asking price")
    Typed(amount=Decimal('4650.50'), currency='GBP')
    """
    if text is None:
        return None
    import polars as pl

    from pricing.intake.texts import currency_in, money_text, number_text

    spelt = re.sub(r"[A-Za-z]{3}", lambda code: code.group().upper(), text.strip())
    cell = pl.col("cell")
    reading = pl.DataFrame({"cell": [spelt]}).select(
        amount=money_text(cell), number=number_text(cell), currency=currency_in(cell)
    )
    amount, number, currency = reading.row(0)
    two = re.search(r"[A-Z£€¥$ł].*[0-9].*[A-Z£€¥$ł]", spelt.rstrip("kK"))
    if two or not re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", amount):
        raise DecisionError(
            f"the {name} is not an amount: got {text!r}, expected one such as 12500, GBP 12500 or £12,500"
        )
    if currency is None and number != amount:
        raise DecisionError(
            f"the {name} does not say which currency: got {text!r}, whose sign stands for several; write the "
            f"code, such as USD {amount}"
        )
    return Typed(Decimal(amount), currency)


def typed_day(text: str | None) -> date | None:
    """A day such as 2026-06-30.

    Raises:
        DecisionError: it is none.
    """
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise DecisionError(f"the date is not a day: got {text!r}, expected YYYY-MM-DD") from None
