"""A private sale, draw by draw."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pricing.decisions.sell.asking_plan import ladder, private_sale
from pricing.decisions.sell.time_to_sale import TimeToSale

TIMES = TimeToSale(np.log([60.0, 50.0]), 2.0, 0.4, 100, 300, 1.2, 0.2, True)
VALUE = np.exp(np.random.default_rng(0).normal(9.0, 0.3, 1500))
WAIT = (np.random.default_rng(1).permutation(1500) + 0.5) / 1500
MID = float(np.median(VALUE))


@given(st.floats(0.5, 3.0), st.floats(0.3, 1.0), st.floats(1.0, 2.0), st.booleans(), st.booleans())
def test_nobody_pays_more_than_is_asked_or_than_the_car_is_worth(
    start: float, down: float, more: float, keeps: bool, known: bool
) -> None:
    times = TIMES if known else None
    asks = ladder(start * MID, down * start * MID)
    lowest = float(asks[-1]) if keeps else 0.0
    paid, weeks = private_sale(VALUE, WAIT, asks, MID, times, "private", bargained=1.25, lowest=lowest)
    assert (paid <= asks[0] + 1e-9).all() and (paid <= VALUE).all()
    assert (paid[np.isfinite(weeks)] >= lowest - 1e-9).all()
    dearer = ladder(start * more * MID, float(asks[-1]))
    later = private_sale(VALUE, WAIT, dearer, MID, times, "private", bargained=1.25, lowest=lowest)[1]
    assert (later >= weeks - 1e-9).all()


@given(st.floats(0.5, 1.5))
def test_one_step_takes_the_time_of_the_law(ratio: float) -> None:
    asks = np.full(3, ratio * MID)
    waits = private_sale(VALUE, WAIT, asks, MID, TIMES, "dealer", bargained=1e9)[1]
    assert np.allclose(waits, TIMES.days("dealer", np.log(ratio), WAIT) / 7.0)
    for weeks in (4.0, 12.0):
        assert abs((waits <= weeks).mean() - TIMES.chance("dealer", np.log(ratio), 7 * weeks)) < 1e-3
