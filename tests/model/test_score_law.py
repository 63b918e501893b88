"""Conformal arithmetic: ranks, the coverage they promise, the law of scores and its inverse.

Sources: Vovk, Gammerman and Shafer 2005; Angelopoulos and Bates 2023 (rank and Beta law of coverage).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.model.score_law import LEVELS, ScoreLaw, scores_needed, weighted_median, weighted_rank_quantile


def test_rank_of_fifty_at_ninety_per_cent() -> None:
    """n = 50, a = 0.1: k = 46, mean coverage 46 / 51 (recomputed from the rule)."""
    assert weighted_rank_quantile(np.arange(1.0, 51.0), np.ones(50), 0.9) == 46.0
    assert stats.beta(46, 5).mean() == pytest.approx(0.90196, abs=1e-5)


@pytest.mark.parametrize(("coverage", "count"), [(0.8, 9), (0.9, 19), (0.5, 3)])
def test_how_many_scores_a_finite_range_needs(coverage: float, count: int) -> None:
    """Both ends of a central range: (n + 1) (1 - coverage) / 2 must reach 1."""
    assert scores_needed(coverage) == count
    assert np.isfinite(weighted_rank_quantile(np.arange(float(count)), np.ones(count), (1 + coverage) / 2))
    assert np.isinf(weighted_rank_quantile(np.arange(count - 1.0), np.ones(count - 1), (1 + coverage) / 2))


def test_coverage_over_repeats_is_within_the_promise() -> None:
    rng = np.random.default_rng(5)
    n, repeats, level = 50, 4000, 0.9
    ends = np.array(
        [weighted_rank_quantile(scores, np.ones(n), level) for scores in rng.standard_normal((repeats, n))]
    )
    covered = (rng.standard_normal(repeats) <= ends).mean()
    slack = 3 * np.sqrt(0.09 / repeats)
    assert level - slack <= covered <= level + 1 / (n + 1) + slack


def test_without_drift_weights_keep_the_ordinary_promise() -> None:
    rng = np.random.default_rng(8)
    n, repeats = 60, 4000
    weights = np.power(0.95, np.arange(n, 0, -1), dtype=np.float64)
    ends = np.array(
        [weighted_rank_quantile(scores, weights, 0.9) for scores in rng.standard_normal((repeats, n))]
    )
    assert (rng.standard_normal(repeats) <= ends).mean() >= 0.9 - 3 * np.sqrt(0.09 / repeats)


@given(st.integers(0, 300), st.integers(0, 2**32 - 1), st.floats(0.0, 3.0))
def test_cdf_and_ppf_are_inverses(count: int, seed: int, skew: float) -> None:
    rng = np.random.default_rng(seed)
    scores = rng.standard_t(5, count) + skew * rng.exponential(1.0, count)
    law = ScoreLaw.fit(scores, np.ones(count), 5.0)
    levels = np.concatenate([LEVELS, rng.random(50) * 0.9998 + 0.0001, [1e-7, 1 - 1e-7]])
    np.testing.assert_allclose(law.cdf(law.ppf(levels)), levels, rtol=0, atol=1e-9)
    assert np.all(np.diff(law.ppf(np.sort(levels))) >= 0)
    assert law.ppf(np.array([0.5])).item() == 0.0


def test_many_scores_give_their_own_law() -> None:
    scores = np.random.default_rng(3).gumbel(size=40_000)
    law = ScoreLaw.fit(scores, np.ones(len(scores)), 5.0)
    levels = np.array([0.05, 0.1, 0.25, 0.75, 0.9, 0.95])
    expected = stats.gumbel_r.ppf(levels) - stats.gumbel_r.median()
    np.testing.assert_allclose(law.ppf(levels), expected, rtol=0.03)


def test_without_scores_the_law_is_the_regressions() -> None:
    law = ScoreLaw.fit(np.empty(0), np.empty(0), 5.0)
    assert not law.promises(0.8)
    np.testing.assert_allclose(law.ppf(np.array([0.1, 0.9])), stats.t(5).ppf([0.1, 0.9]), rtol=1e-5)


def test_scores_that_are_all_alike_leave_no_width() -> None:
    law = ScoreLaw.fit(np.full(100, 0.3), np.ones(100), 5.0)
    assert np.abs(law.ppf(np.array([0.1, 0.9]))).max() < 1e-3


def test_the_weighted_median_is_the_median_of_repeated_scores() -> None:
    rng = np.random.default_rng(4)
    scores, weights = rng.standard_normal(31), rng.integers(1, 5, 31)
    expected = np.median(np.repeat(scores, weights))
    assert weighted_median(scores, weights.astype(float)) == pytest.approx(expected)
