"""Charges as numbers are the charges of the accounts, to the cent."""

from datetime import date
from decimal import Decimal

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.money.charge_draws import charge_on, hammer_within
from pricing.money.charges import Charge, Tier
from pricing.money.currencies import minor_unit_places

RATES = st.decimals(0, Decimal("0.4"), places=3)


@st.composite
def charges(draw: st.DrawFn) -> Charge:
    currency = draw(st.sampled_from(["EUR", "JPY", "KWD"]))
    end = draw(st.integers(1, 90_000))
    tiers = (Tier(draw(RATES), Decimal(end)), Tier(draw(RATES)))
    tax = draw(st.sampled_from(["0", "0.2", "0.21"]))
    return Charge(
        "hall", "premium", date(2020, 1, 1), currency, tiers, Decimal(tax), Decimal(draw(st.integers(0, 300)))
    )


@settings(max_examples=40)
@given(charges(), st.lists(st.integers(0, 20_000_000), min_size=1, max_size=8))
def test_both_are_the_same_to_the_smallest_unit(charge: Charge, cents: list[int]) -> None:
    step = 10 ** (3 - minor_unit_places(charge.currency))
    amounts = pl.DataFrame({"amount": pl.Series([cent * step for cent in cents], dtype=pl.Int128)})
    exact = amounts.select(
        on=charge.on(pl.col("amount")), hammer=charge.hammer_of_all_in(pl.col("amount")).fill_null(0)
    ).cast(pl.Float64)
    asked = amounts["amount"].cast(pl.Float64).to_numpy() / 1000.0
    assert np.allclose(charge_on(charge, asked), exact["on"].to_numpy() / 1000.0, atol=1e-6)
    assert np.allclose(hammer_within(charge, asked), exact["hammer"].to_numpy() / 1000.0, atol=1e-6)
