"""The price distribution: distribution function and quantiles invert each other, states keep their order.

Outside checks: scipy's lognormal law; pinball loss and CRPS of the scoringrules package.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.errors import ModelError
from pricing.model.calibration.score_law import LEVELS, ScoreLaw
from pricing.model.distribution import PriceDistribution

NORMAL = ScoreLaw.fit(np.empty(0), np.inf)


def lognormal(mid: float, spread: float) -> PriceDistribution:
    return PriceDistribution(NORMAL, np.log([[mid]]), np.array([[spread]]))


def drawn(seed: int, states: int = 4, cars: int = 5) -> PriceDistribution:
    rng = np.random.default_rng(seed)
    law = ScoreLaw.fit(rng.standard_t(4, 80), 4.0)
    centre = np.sort(rng.normal(9.0, 0.5, (cars, states)), axis=1)[:, ::-1]
    return PriceDistribution(law, centre, rng.uniform(0.05, 0.8, (cars, states)))


def test_a_normal_law_gives_scipys_lognormal() -> None:
    price, law = lognormal(5000.0, 0.3), stats.lognorm(0.3, scale=5000.0)
    levels = LEVELS[(LEVELS > 0.01) & (LEVELS < 0.99)]  # in between the law is linear in the level
    np.testing.assert_allclose(price.ppf(levels)[0], law.ppf(levels), rtol=1e-5)
    np.testing.assert_allclose(price.cdf([6000.0]), law.cdf(6000.0), atol=2e-4)
    np.testing.assert_allclose(price.mean(), law.mean(), rtol=2e-3)
    assert price.sample(200_000, 1).mean() == pytest.approx(law.mean(), rel=5e-3)


@given(st.integers(0, 2**32 - 1))
def test_cdf_and_ppf_are_inverses(seed: int) -> None:
    prices = drawn(seed)
    levels = np.concatenate([LEVELS, [1e-6, 0.3333, 1 - 1e-6]])
    quantiles = prices.ppf(levels)
    np.testing.assert_allclose(prices.cdf(quantiles), np.tile(levels, (5, 1)), rtol=0, atol=1e-9)
    np.testing.assert_allclose(prices.ppf(0.37), prices.ppf([0.37])[:, 0])


@given(st.integers(0, 2**32 - 1), st.floats(0.001, 0.999))
def test_a_better_state_is_never_cheaper_at_any_level(seed: int, level: float) -> None:
    """The same car with its worst state dropped from those that count for less."""
    prices = drawn(seed)
    worse = PriceDistribution(prices.law, prices.centre[:, 1:], prices.spread[:, 1:])
    assert np.all(prices.ppf(level) >= worse.ppf(level))
    asked = np.exp(prices.centre[:, 0])
    assert np.all(prices.cdf(asked) <= worse.cdf(asked))


def test_the_median_is_the_mid_whatever_the_worse_states() -> None:
    prices = drawn(11)
    np.testing.assert_allclose(prices.mid, np.exp(prices.centre[:, 0]), rtol=1e-12)


def test_a_price_without_scatter_is_a_step() -> None:
    law = ScoreLaw.fit(np.zeros(50), 5.0)
    price = PriceDistribution(law, np.log([[5000.0]]), np.array([[1e-5]]))
    assert price.cdf([4999.99]).item() == 0.0 and price.cdf([5000.01]).item() == 1.0


def test_scores_agree_with_scoringrules() -> None:
    """CRPS of the samples by scoringrules against the closed form of the lognormal law there."""
    scoringrules = pytest.importorskip("scoringrules")
    price = lognormal(1.0, 0.5)
    levels = (np.arange(4000) + 0.5) / 4000
    ensemble = scoringrules.crps_ensemble(1.2, price.ppf(levels)[0])
    assert ensemble == pytest.approx(scoringrules.crps_lognormal(1.2, 0.0, 0.5), abs=2e-4)
    quantile = price.ppf(0.9).item()
    assert scoringrules.quantile_score(1.2, quantile, 0.9) == pytest.approx(
        (0.9 - (1.2 < quantile)) * (1.2 - quantile)
    )


def test_samples_are_the_same_for_the_same_seed_and_of_the_law() -> None:
    prices = drawn(5)
    np.testing.assert_array_equal(prices.sample(10, 3), prices.sample(10, 3))
    share = (prices.sample(50_000, 4) <= prices.ppf(0.9)[:, None]).mean(axis=1)
    np.testing.assert_allclose(share, 0.9, atol=0.006)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, float("nan")])
def test_a_probability_is_one(level: float) -> None:
    with pytest.raises(ModelError, match="strictly between 0 and 1"):
        drawn(1).ppf(level)
    with pytest.raises(ModelError, match="strictly between 0 and 1"):
        drawn(1).interval(level)


def test_every_car_needs_a_price() -> None:
    with pytest.raises(ModelError, match="5 cars need as many prices"):
        drawn(1).cdf([1.0, 2.0])
    assert np.isnan(drawn(1).cdf([1.0, 2.0, 3.0, 4.0, float("nan")])[-1])
    assert np.all(drawn(1).cdf(np.zeros(5)) == 0.0)
