"""What the origins say of the market: what is carried on, what persists, how fast the level wanders."""

import numpy as np
import pytest

from pricing.model.calibration.market_shift import DAYS_A_YEAR, MarketShift, OriginErrors, period_shifts


def errors(
    rate: float = 0.0, slope: float = 0.0, jump: float = 0.0, walk: float = 0.0, seed: int = 0
) -> OriginErrors:
    """Five origins, 200 sales in the 300 days after each: a ``rate`` a year at each of them, a ``jump`` after
    the last one, a random ``walk`` (standard deviation a year) after each."""
    rng = np.random.default_rng(seed)
    origin = np.repeat(np.arange(5), 200)
    days = np.tile(np.linspace(1.0, 300.0, 200), 5)
    paths = np.cumsum(rng.normal(0.0, walk * np.sqrt(1.5 / DAYS_A_YEAR), (5, 200)), axis=1).ravel()
    error = rate * days / DAYS_A_YEAR + jump * (origin == 4) + paths + 0.1 * rng.standard_normal(1000)
    none = np.full(1000, np.nan)
    cell = np.zeros(1000, dtype=np.int64)
    return OriginErrors(
        origin, days, error, none, none, np.full(1000, 0.1), np.full(1000, slope), np.zeros(1000), cell, cell
    )


def test_a_trend_that_went_on_is_carried() -> None:
    found = MarketShift.fit(errors(rate=0.08, slope=0.08), 1e-4)
    assert found.trend == "full"
    assert found.carried(np.array([180.0])).item() == pytest.approx(0.0, abs=0.01)


def test_a_trend_that_did_not_is_held() -> None:
    assert MarketShift.fit(errors(slope=0.1), 1e-4).trend == "held level"


def test_a_shift_that_came_once_is_not_carried_but_widens() -> None:
    calm, moved = MarketShift.fit(errors(), 1e-4), MarketShift.fit(errors(jump=-0.3), 1e-4)
    assert moved.bias == pytest.approx(0.0, abs=0.005)
    assert moved.variance > 20 * calm.variance


def test_a_shift_that_comes_at_every_origin_is_carried() -> None:
    found = MarketShift.fit(errors(rate=0.08), 1e-4)
    assert found.bias == pytest.approx(0.08, abs=0.025)


def test_the_variance_of_a_random_walk_is_found() -> None:
    found = [MarketShift.fit(errors(walk=0.1, seed=seed), 0.01).variance for seed in range(30)]
    assert np.mean(found) == pytest.approx(0.01, rel=0.3)


def test_shifts_of_periods_are_their_means() -> None:
    told = errors(rate=0.1)
    period = period_shifts(told, told.error)
    assert len(period.shift) == 15 and np.unique(period.place).tolist() == list(range(15))
    np.testing.assert_allclose(period.shift, 0.1 * period.days / DAYS_A_YEAR, atol=4 * 0.1 / np.sqrt(66))
