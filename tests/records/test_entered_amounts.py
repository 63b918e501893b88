"""One rule for what a person enters."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.errors import MoneyError
from pricing.records.entered_amounts import bounds, entered


@given(st.decimals(10, 250_000_000, places=2))
def test_a_price_between_the_bounds_passes(amount: Decimal) -> None:
    entered("asking price", amount, "EUR")


@pytest.mark.parametrize("amount", ["-3", "0", "9.99", "250000000.01", "9000000000", "NaN", "Infinity"])
def test_others_are_refused_with_what_was_got_and_expected(amount: str) -> None:
    with pytest.raises(MoneyError, match="^asking price absurd: got .*, expected 10 to 250,000,000$"):
        entered("asking price", Decimal(amount), "EUR")


def test_a_cost_may_be_nought_and_small_units_reach_further() -> None:
    entered("transport", Decimal(0), "EUR", cost=True)
    entered("asking price", None, "EUR")
    entered("asking price", Decimal(300_000_000), "JPY")
    assert bounds("JPY")[1] == 10_000 * bounds("EUR")[1]
