from datetime import date
from decimal import Decimal

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.decisions.amounts import Conversion, three_figures, whole_units
from pricing.errors import MoneyError


@given(st.decimals("0.01", 1_000_000, places=2), st.sampled_from(["GBP", "JPY", "USD", "SEK"]))
def test_there_and_back_is_within_a_smallest_unit_of_either(amount: Decimal, currency: str) -> None:
    conversion = Conversion.at(currency, "EUR", date(2024, 5, 2))
    there = conversion.from_base(amount)
    step = {"JPY": Decimal(1)}.get(currency, Decimal("0.01"))
    reach = step * conversion.base_units / conversion.units + Decimal("0.01")
    assert abs(conversion.to_base(there) - amount) <= reach
    assert conversion.from_base(amount, down=True) <= there


def test_a_rate_of_ones_own_is_used_where_there_is_no_other() -> None:
    own = pl.DataFrame(
        {"currency": ["ATS"], "rate_date": [date(1990, 1, 1)], "rate": [Decimal("13.7603")]},
        schema_overrides={"rate": pl.Decimal(20, 6)},
    )
    assert Conversion.at("ATS", "EUR", date(1995, 5, 5), own).to_base(Decimal("137.60")) == Decimal("10.00")
    with pytest.raises(MoneyError, match="no rate from ATS to EUR on 1989-12-31: add one of your own"):
        Conversion.at("ATS", "EUR", date(1989, 12, 31), own)


@given(st.decimals("0.01", 10_000_000, places=2))
def test_an_amount_as_it_is_said_is_never_more_and_little_less(amount: Decimal) -> None:
    spoken = three_figures(amount)
    assert spoken <= amount
    assert amount - spoken < max(amount / 100, Decimal(1))


def test_halves_round_up_and_limits_down() -> None:
    assert whole_units(Decimal("0.0005"), "KWD") == Decimal("0.001")
    assert whole_units(Decimal("99.999"), "EUR", down=True) == Decimal("99.99")
