"""Conformal arithmetic: ranks, the coverage band they promise, and the law that goes on beyond the scores.

Source of the rank and of the Beta law of coverage: Vovk, Gammerman and Shafer 2005; Angelopoulos and Bates
2023.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.model.calibration import Calibration, rank


def one_cell(scores: np.ndarray) -> Calibration:
    cell = np.zeros(len(scores), dtype=np.int64)
    return Calibration.learn(scores, cell, cell, (1, 1), 5.0)


def test_rank_of_fifty_at_ninety_per_cent() -> None:
    """n = 50, a = 0.1: k = 46, mean coverage 46 / 51 (recomputed from the rule)."""
    assert rank(50, 0.9) == 46
    assert stats.beta(46, 5).mean() == pytest.approx(0.90196, abs=1e-5)


@pytest.mark.parametrize(
    ("n", "coverage", "finite"), [(9, 0.8, True), (8, 0.8, False), (19, 0.9, True), (18, 0.9, False)]
)
def test_how_many_scores_a_finite_range_needs(n: int, coverage: float, finite: bool) -> None:
    """Both ends of a central range: (n + 1) (1 - coverage) / 2 must reach 1."""
    assert one_cell(np.arange(1.0, n + 1)).finite(coverage) is finite


def test_coverage_over_repeats_is_within_the_promise() -> None:
    rng = np.random.default_rng(5)
    n, repeats, level = 50, 4000, 0.9
    scores = rng.standard_normal((repeats, n))
    ends = np.sort(scores, axis=1)[:, rank(n, level) - 1]
    covered = (rng.standard_normal(repeats) <= ends).mean()
    slack = 3 * np.sqrt(0.09 / repeats)
    assert level - slack <= covered <= level + 1 / (n + 1) + slack
    calibration = one_cell(scores[0])
    assert calibration.quantiles(np.array([level]))[0] * calibration.scales[0, 0] == pytest.approx(ends[0])


@given(st.integers(2, 300), st.integers(0, 2**32 - 1))
def test_quantiles_never_cross_and_shares_invert_them(n: int, seed: int) -> None:
    scores = np.random.default_rng(seed).standard_t(5, n)
    calibration = one_cell(scores)
    levels = np.array([0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999])
    quantiles = calibration.quantiles(levels)
    assert np.all(np.diff(quantiles) >= 0.0)
    shares = calibration.shares(quantiles)
    assert np.all(np.abs(shares - levels) <= 1.5 / (n + 1) + 1e-9)
    grid = np.linspace(-30, 30, 200)
    assert np.all(np.diff(calibration.shares(grid)) >= -1e-12)


def test_a_cell_with_wider_scores_has_a_larger_scale() -> None:
    rng = np.random.default_rng(2)
    scores = np.concatenate([rng.standard_normal(500), 2.0 * rng.standard_normal(500)])
    depth = np.repeat([0, 1], 500)
    scales = Calibration.learn(scores, depth, np.zeros(1000, dtype=np.int64), (2, 1), 5.0).scales[:, 0]
    assert scales[1] / scales[0] == pytest.approx(2.0, rel=0.15)


def test_without_scores_the_law_is_the_regressions() -> None:
    calibration = one_cell(np.empty(0))
    assert not calibration.finite(0.8)
    np.testing.assert_allclose(calibration.quantiles(np.array([0.1, 0.9])), stats.t(5).ppf([0.1, 0.9]))
