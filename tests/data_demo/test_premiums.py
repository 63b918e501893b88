"""Premium schedules of the invented sale rooms turn round exactly."""

from datetime import date

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from data_demo.premiums import NO_PREMIUM, all_in_of, hammer_of, schedule_of, schedules

ROWS = st.lists(st.tuples(st.integers(1, 500_000_000), st.integers(NO_PREMIUM, 3)), min_size=1, max_size=50)


@settings(deadline=None, max_examples=12)
@given(ROWS)
def test_hammer_to_all_in_and_back(rows: list[tuple[int, int]]) -> None:
    """Exact to the smallest unit, hammer prices in pence, cents and ore."""
    hammer = np.array([amount / 100 for amount, _ in rows])
    schedule = np.array([place for _, place in rows])
    assert np.array_equal(hammer_of(all_in_of(hammer, schedule), schedule), hammer)


def test_tiers_and_tax_by_hand() -> None:
    """60,000 at 12.5 % up to 50,000 and 10 % above, 20 % tax on that: 60,000 + 1.2 x (6,250 + 1,000)."""
    schedule = schedule_of(*(pl.Series([cell]) for cell in ("Quenmoor Register", "GBP", date(2019, 5, 1))))
    assert all_in_of(np.array([60_000.0]), schedule).tolist() == [68_700.0]


def test_schedule_of_the_day_and_currency() -> None:
    days = pl.Series([date(2021, 12, 31), date(2022, 1, 1), date(2022, 1, 1)])
    sources = pl.Series(["Quenmoor Register", "Quenmoor Register", "Kelderhaag Exchange"])
    found = schedule_of(sources, pl.Series(["GBP"] * 3), days)
    starts = [schedules()[place].valid_from for place in found[:2]]
    assert starts == [date(2016, 1, 1), date(2022, 1, 1)]
    assert found[2] == NO_PREMIUM


def test_no_amount_stays_none() -> None:
    assert np.isnan(all_in_of(np.array([np.nan]), np.array([0]))).all()
