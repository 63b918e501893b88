"""Weighted conformal quantiles of scores that are not exchangeable, against the bound on what drift costs.

Barber, Candes, Ramdas and Tibshirani 2023, Conformal prediction beyond exchangeability, theorems 2 and 3
(from memory): with weights w_i fixed beforehand, w_i' = w_i / (w_1 + ... + w_n + 1), the coming score stays
at or below the weighted quantile of level 1 - a with probability at least 1 - a - sum w_i' d_i, and, without
ties, at most 1 - a + w_(n+1)' + sum w_i' d_i. d_i is the total variation distance that the swap of score i
with the coming one makes, for independent scores at most 2 t - t^2 of the distance t of the two.
"""

import numpy as np
import pytest
from scipy import stats

from pricing.model.score_law import weighted_rank_quantile

SCORES, REPEATS = 400, 3_000
OLDER = np.arange(SCORES) < 240
STEP, SLOPE = np.where(OLDER, -1.0, 0.0), np.linspace(-1.0, 0.0, SCORES)
EQUAL, RECENT = np.ones(SCORES), np.power(0.97, np.arange(SCORES)[::-1], dtype=np.float64)
NONE = np.zeros(SCORES)


def swap_distances(shift: np.ndarray) -> np.ndarray:
    """Of independent normal scores shifted against the coming one: total variation 2 Phi(|shift| / 2) - 1."""
    apart = 2.0 * stats.norm.cdf(np.abs(shift) / 2.0) - 1.0
    return np.asarray(2.0 * apart - np.square(apart))


@pytest.mark.parametrize("level", [0.8, 0.9])
@pytest.mark.parametrize(
    ("shift", "weights"),
    [(NONE, EQUAL), (NONE, RECENT), (STEP, EQUAL), (STEP, RECENT), (SLOPE, EQUAL), (SLOPE, RECENT)],
    ids=["none, equal", "none, recent", "step, equal", "step, recent", "slope, equal", "slope, recent"],
)
def test_coverage_stays_within_what_drift_may_cost(
    shift: np.ndarray, weights: np.ndarray, level: float
) -> None:
    scores = shift + np.random.default_rng(5).standard_normal((REPEATS, SCORES))
    ends = np.array([float(weighted_rank_quantile(row, weights, level)) for row in scores])
    held = np.asarray(stats.norm.cdf(ends))
    share = weights / (weights.sum() + 1.0)
    cost = float(share @ swap_distances(shift))
    noise = 3.0 * float(held.std()) / np.sqrt(REPEATS)
    assert level - cost - noise <= held.mean() <= level + 1.0 / (weights.sum() + 1.0) + cost + noise


def test_recent_weights_win_back_what_a_step_took() -> None:
    """A fall of the level by one standard deviation, 160 scores ago: equal weights miss it."""
    scores = -STEP + np.random.default_rng(6).standard_normal((REPEATS, SCORES))
    equal, recent = (
        float(np.mean(stats.norm.cdf([float(weighted_rank_quantile(row, weights, 0.1)) for row in scores])))
        for weights in (EQUAL, RECENT)
    )
    assert equal > 0.14
    assert recent == pytest.approx(0.1, abs=1.0 / (RECENT.sum() + 1.0))
