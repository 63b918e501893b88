"""Rank quantiles of scores that are not exchangeable, against the bound on what drift costs.

Barber, Candes, Ramdas and Tibshirani 2023, Conformal prediction beyond exchangeability, theorems 2 and 3
(from memory), with equal weights fixed beforehand: the coming score stays at or below the quantile of level
1 - a with probability at least 1 - a - sum d_i / (n + 1), and, without ties, at most 1 - a + 1 / (n + 1) +
sum d_i / (n + 1). d_i is the total variation distance that the swap of score i with the coming one makes, for
independent scores at most 2 t - t^2 of the distance t of the two.
"""

import numpy as np
import pytest
from scipy import stats

from pricing.model.calibration.score_law import rank_quantile

SCORES, REPEATS = 399, 3_000
"""So many scores that 80 and 90 % are whole ranks."""
OLDER = np.arange(SCORES) < 240
SHIFTS = {
    "none": np.zeros(SCORES),
    "a step": np.where(OLDER, -1.0, 0.0),
    "a slope": np.linspace(-1.0, 0.0, SCORES),
}


def swap_distances(shift: np.ndarray) -> np.ndarray:
    """Of independent normal scores shifted against the coming one: total variation 2 Phi(|shift| / 2) - 1."""
    apart = 2.0 * stats.norm.cdf(np.abs(shift) / 2.0) - 1.0
    return np.asarray(2.0 * apart - np.square(apart))


@pytest.mark.parametrize("level", [0.8, 0.9])
@pytest.mark.parametrize("drift", SHIFTS)
def test_coverage_stays_within_what_drift_may_cost(drift: str, level: float) -> None:
    shift = SHIFTS[drift]
    scores = shift + np.random.default_rng(5).standard_normal((REPEATS, SCORES))
    held = np.asarray(stats.norm.cdf([float(rank_quantile(row, np.array(level))) for row in scores]))
    cost = float(swap_distances(shift).sum()) / (SCORES + 1)
    noise = 3.0 * float(held.std()) / np.sqrt(REPEATS)
    assert level - cost - noise <= held.mean() <= level + 1.0 / (SCORES + 1) + cost + noise
    assert (held.mean() > level - 0.005) == (drift == "none"), "drift that costs nothing tests nothing"
