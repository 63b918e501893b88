"""Amounts and days as people type them, on the command line and into the fields of a page."""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from pricing.errors import DecisionError

if TYPE_CHECKING:
    from pricing.snapshot import Snapshot


@dataclass(frozen=True)
class Typed:
    """An amount with the currency that was typed beside it, if any."""

    amount: Decimal
    currency: str | None

    def in_base(self, snapshot: "Snapshot", on: date) -> Decimal:
        """The amount in the market's base currency at a day.

        Raises:
            MoneyError: there is no rate on that day.
        """
        if self.currency is None or self.currency == snapshot.base_currency:
            return self.amount
        from pricing.decisions.amounts import Conversion

        rates = snapshot.state.own_rates
        return Conversion.at(self.currency, snapshot.base_currency, on, rates).to_base(self.amount)


def typed_amount(text: str | None, name: str) -> Typed | None:
    """An amount such as ``12500``, ``GBP 12500`` or ``£12,500``, read as a file of sale records is.

    Raises:
        DecisionError: it is none, or its sign stands for several currencies.
        MoneyError: its code is that of no currency.

    >>> typed_amount("GBP 4650.50", "asking price")
    Typed(amount=Decimal('4650.50'), currency='GBP')
    """
    if text is None:
        return None
    from pricing.intake.written.money import meant, read_money
    from pricing.money.currencies import minor_unit_places

    spelt = re.sub(r"(?<![A-Za-z])[A-Za-z]{3}(?![A-Za-z])", lambda code: code.group().upper(), text.strip())
    code = re.search(r"(?<![A-Z])[A-Z]{3}(?![A-Z])", spelt)
    if code is not None and re.search(r"\d", spelt):
        minor_unit_places(code[0])  # refuses one that is no currency
    money = read_money(spelt)
    if money is None or money.amount is None or money.outcome is not None:
        raise DecisionError(
            f"the {name} is not an amount: got {text!r}, expected one such as 12500, GBP 12500 or £12,500"
        )
    currency = meant(money.currency, None)[0]
    if currency is None and money.currency is not None:
        raise DecisionError(
            f"the {name} does not say which currency: got {text!r}, whose sign stands for several; write the "
            f"code, such as USD {money.amount}"
        )
    return Typed(money.amount, currency)


def typed_day(text: str | None) -> date | None:
    """A day such as 2026-06-30.

    Raises:
        DecisionError: it is none.
    """
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise DecisionError(f"the date is not a day: got {text!r}, expected YYYY-MM-DD") from None
