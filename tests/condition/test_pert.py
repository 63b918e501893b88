import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.condition.repairs import pert_at_score, pert_mean, pert_quantile

ESTIMATES = st.tuples(st.floats(0, 1e4), st.floats(0, 1e4), st.floats(0, 1e4)).map(sorted)


@given(ESTIMATES, st.floats(0, 1), st.floats(0, 1))
def test_quantiles_rise_and_stay_between_low_and_high(estimate: list[float], one: float, two: float) -> None:
    low, likely, high = estimate
    first, second = pert_quantile(sorted((one, two)), low, likely, high)
    assert low <= first <= second <= high


@given(st.floats(0, 1e4))
def test_an_estimate_without_width_is_that_value(value: float) -> None:
    assert (pert_quantile([0.0, 0.3, 1.0], value, value, value) == value).all()


def test_the_table_follows_the_quantile() -> None:
    from scipy.special import ndtr

    score = np.random.default_rng(0).standard_normal((2000, 3))
    low, likely, high = np.array([0, 2, 10]), np.array([0, 5, 11]), np.array([9, 14, 40])
    exact = pert_quantile(ndtr(score), low, likely, high)
    assert np.abs(pert_at_score(score, low, likely, high) - exact).max() < 1e-3 * (high - low).max()


def test_the_mean_by_hand() -> None:
    assert pert_mean([0, 2], [3, 5], [6, 14]).tolist() == [3.0, 6.0]
    assert pert_quantile(0.5, 0, 3, 6) == pytest.approx(3.0)
