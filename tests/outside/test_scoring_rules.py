"""Scores against published values and the scoringrules package (0.7 or later)."""

import numpy as np
import pytest
import scoringrules
from scipy import stats
from sklearn.metrics import mean_pinball_loss
from statsmodels.stats.proportion import proportion_confint

from pricing.model.accuracy.scoring import (
    binomial_interval,
    crps_quantiles,
    interval_score,
    pinball,
)

RNG = np.random.default_rng(3)
Y = np.exp(9.0 + RNG.standard_normal(200))
MEAN, DEVIATION = 9.0 + RNG.standard_normal(200), RNG.uniform(0.1, 2.0, 200)


LEVELS_OF_A_LAW = (np.arange(20_000) + 0.5) / 20_000
"""So many that a law's score differs from that of its quantiles by less than 1e-4."""


@pytest.mark.parametrize(("actual", "value"), [(0.0, 0.2336950), (1.0, 0.6024414), (2.0, 1.4527918)])
def test_crps_of_the_standard_normal_law(actual: float, value: float) -> None:
    # closed form of Gneiting, Raftery, Westveld and Goldman 2005, recomputed
    quantiles = stats.norm.ppf(LEVELS_OF_A_LAW)
    assert crps_quantiles(actual, quantiles, LEVELS_OF_A_LAW) == pytest.approx(value, abs=1e-4)


def test_crps_of_three_values() -> None:
    # E|X - y| - E|X - X'| / 2 by hand: 4 / 3 - 2 / 3
    ours = crps_quantiles(3.0, [1.0, 2.0, 4.0], [1 / 6, 1 / 2, 5 / 6])
    assert ours == pytest.approx(2 / 3, abs=1e-12)


def test_crps_of_a_lognormal_law() -> None:
    # closed form of Baran and Lerch 2015, recomputed
    quantiles = stats.lognorm(0.5).ppf(LEVELS_OF_A_LAW)
    assert crps_quantiles(1.2, quantiles, LEVELS_OF_A_LAW) == pytest.approx(0.1504342, abs=1e-4)


def test_interval_score_and_pinball_at_both_ends() -> None:
    # Winkler 1972; Gneiting and Raftery 2007: range [1, 2.5] at 3, 80 % coverage
    assert interval_score(3.0, 1.0, 2.5, 0.8) == pytest.approx(6.5, abs=1e-12)
    ends = pinball(3.0, 1.0, 0.1) + pinball(3.0, 2.5, 0.9)
    assert 2.0 / 0.2 * ends == pytest.approx(6.5, abs=1e-12)


@pytest.mark.parametrize("estimator", ["nrg", "qd", "int"])
def test_the_score_of_equally_likely_values_is_the_packages(estimator: str) -> None:
    members = MEAN[:, None] + DEVIATION[:, None] * RNG.standard_normal((200, 41))
    levels = (np.arange(41) + 0.5) / 41
    theirs = scoringrules.crps_ensemble(np.log(Y), members, estimator=estimator)
    assert crps_quantiles(np.log(Y), np.sort(members), levels) == pytest.approx(theirs, rel=1e-9)


def test_quantile_scores_are_the_packages() -> None:
    levels = (np.arange(20) + 0.5) / 20
    quantiles = np.sort(MEAN[:, None] + RNG.standard_normal((200, 20)), axis=1)
    theirs = scoringrules.crps_quantile(np.log(Y), quantiles, levels)
    assert crps_quantiles(np.log(Y), quantiles, levels) == pytest.approx(theirs, rel=1e-9)
    one = scoringrules.quantile_score(np.log(Y), quantiles[:, 4], levels[4])
    assert pinball(np.log(Y), quantiles[:, 4], levels[4]) == pytest.approx(one, rel=1e-9)


def test_interval_score_is_the_packages() -> None:
    low, high = MEAN - DEVIATION, MEAN + DEVIATION
    theirs = scoringrules.interval_score(np.log(Y), low, high, 0.2)
    assert interval_score(np.log(Y), low, high, 0.8) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("level", [0.05, 0.5, 0.9])
def test_mean_pinball_is_scikit_learns(level: float) -> None:
    assert pinball(np.log(Y), MEAN, level).mean() == pytest.approx(
        mean_pinball_loss(np.log(Y), MEAN, alpha=level)
    )


@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (10, 10), (3, 17), (812, 1000), (1, 1)])
def test_binomial_interval_is_statsmodels(hits: int, trials: int) -> None:
    low, high = binomial_interval(hits, trials)
    assert (float(low), float(high)) == pytest.approx(proportion_confint(hits, trials, method="beta"))
