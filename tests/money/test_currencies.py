"""Currencies and rates; the weekend trap of the rate table."""

from datetime import date
from decimal import Decimal

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.errors import MoneyError
from pricing.money.currencies import (
    CURRENCIES,
    ecb_rates,
    in_base,
    minor_unit_places,
    thousandths,
    with_rates,
)


def converted(
    amount: str, currency: str, day: date, base: str, own: pl.DataFrame | None = None
) -> Decimal | None:
    """One amount in the base currency."""
    row = pl.DataFrame({"currency": [currency], "event_date": [day], "amount": [Decimal(amount)]})
    result = with_rates(row, base, own).select(in_base(thousandths(pl.col("amount")), base)).item()
    assert result is None or isinstance(result, Decimal)
    return result


def test_minor_units_and_unknown_currencies() -> None:
    assert [minor_unit_places(code) for code in ("EUR", "JPY", "BHD", "ISK")] == [2, 0, 3, 0]
    assert "XAU" not in CURRENCIES and {"DEM", "XAF", "GBP"} <= CURRENCIES
    with pytest.raises(MoneyError, match="'GBX'"):
        minor_unit_places("GBX")


def test_a_rate_of_a_later_day_is_never_used() -> None:
    first = ecb_rates().filter(pl.col("currency") == "USD")["rate_date"].min()
    assert converted("100", "USD", date(1998, 12, 31), "EUR") is None
    assert converted("100", "USD", first, "EUR") is not None  # type: ignore[arg-type]


def test_a_discontinued_currency_has_no_rate_later_but_a_quoted_one_keeps_its_last() -> None:
    assert converted("100", "HRK", date(2022, 12, 30), "EUR") is not None
    assert converted("100", "HRK", date(2024, 1, 5), "EUR") is None
    assert converted("100", "GBP", date(2199, 1, 1), "EUR") is not None


def test_own_rates_serve_where_there_is_no_other() -> None:
    own = pl.DataFrame(
        {
            "currency": ["DEM", "USD"],
            "rate_date": [date(1990, 1, 1)] * 2,
            "rate": [Decimal("1.95583"), Decimal(99)],
        }
    )
    assert converted("195.583", "DEM", date(1995, 6, 1), "EUR", own) == Decimal("100.00")
    assert converted("195.583", "DEM", date(1989, 6, 1), "EUR", own) is None
    assert converted("129.48", "USD", date(2013, 3, 23), "EUR", own) == Decimal("100.00")


def test_the_base_currency_needs_no_rate_and_is_rounded_to_its_own_unit() -> None:
    assert converted("4250.5", "DEM", date(1970, 1, 1), "DEM") == Decimal("4250.50")
    assert converted("1", "EUR", date(2013, 3, 21), "JPY") == Decimal("123.00")


@given(
    st.integers(1, 10**12),
    st.sampled_from(["USD", "GBP", "JPY", "SEK"]),
    st.dates(date(1999, 1, 4), date(2026, 1, 1)),
)
def test_conversion_is_the_exact_quotient_rounded_once(thousand: int, currency: str, day: date) -> None:
    amount = Decimal(thousand) / 1000
    rate = with_rates(pl.DataFrame({"currency": [currency], "event_date": [day]}), "EUR")["units"].item()
    got = converted(str(amount), currency, day, "EUR")
    assert got is not None
    assert abs(Decimal(str(got)) * rate - amount * 1_000_000) <= Decimal("0.005") * rate
