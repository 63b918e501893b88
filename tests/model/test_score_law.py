"""Conformal arithmetic: ranks, the coverage they promise, the law of scores and its inverse.

Sources: Vovk, Gammerman and Shafer 2005; Angelopoulos and Bates 2023 (rank and Beta law of coverage).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.model.calibration.score_law import LEVELS, ScoreLaw, rank_quantile, scores_needed


def test_rank_of_forty_nine_at_ninety_per_cent() -> None:
    """n = 49, a = 0.1: k = 45, mean coverage 45 / 50 (recomputed from the rule)."""
    assert rank_quantile(np.arange(1.0, 50.0), np.array(0.9)) == 45.0
    assert stats.beta(45, 5).mean() == pytest.approx(0.9)


@pytest.mark.parametrize(("coverage", "count"), [(0.8, 9), (0.9, 19), (0.5, 3)])
def test_how_many_scores_a_finite_range_needs(coverage: float, count: int) -> None:
    """Both ends of a central range: (n + 1) (1 - coverage) / 2 must reach 1."""
    assert scores_needed(coverage) == count
    level = np.array((1 + coverage) / 2 - 1e-12)
    assert np.isfinite(rank_quantile(np.arange(float(count)), level))
    assert np.isinf(rank_quantile(np.arange(count - 1.0), level))


@pytest.mark.parametrize("n", [49, 50])
def test_coverage_over_repeats_is_the_level(n: int) -> None:
    """At a rank and between two of them."""
    rng = np.random.default_rng(5)
    repeats, level = 4000, 0.9
    ends = np.array([rank_quantile(scores, np.array(level)) for scores in rng.standard_normal((repeats, n))])
    covered = (rng.standard_normal(repeats) <= ends).mean()
    assert covered == pytest.approx(level, abs=3 * np.sqrt(0.09 / repeats))


@given(st.integers(0, 300), st.integers(0, 2**32 - 1), st.floats(0.0, 3.0))
def test_cdf_and_ppf_are_inverses(count: int, seed: int, skew: float) -> None:
    rng = np.random.default_rng(seed)
    scores = rng.standard_t(5, count) + skew * rng.exponential(1.0, count)
    law = ScoreLaw.fit(scores, 5.0)
    levels = np.concatenate([LEVELS, rng.random(50) * 0.9998 + 0.0001, [1e-7, 1 - 1e-7]])
    np.testing.assert_allclose(law.cdf(law.ppf(levels)), levels, rtol=0, atol=1e-9)
    assert np.all(np.diff(law.ppf(np.sort(levels))) >= 0)
    assert law.ppf(np.array([0.5])).item() == 0.0


def test_many_scores_give_their_own_law() -> None:
    scores = np.random.default_rng(3).gumbel(size=40_000)
    law = ScoreLaw.fit(scores, 5.0)
    levels = np.array([0.05, 0.1, 0.25, 0.75, 0.9, 0.95])
    expected = stats.gumbel_r.ppf(levels) - stats.gumbel_r.median()
    np.testing.assert_allclose(law.ppf(levels), expected, rtol=0.03)


def test_without_scores_the_law_is_the_regressions() -> None:
    law = ScoreLaw.fit(np.empty(0), 5.0)
    assert not law.promises(0.8)
    np.testing.assert_allclose(law.ppf(np.array([0.1, 0.9])), stats.t(5).ppf([0.1, 0.9]), rtol=1e-5)


def test_scores_that_are_all_alike_leave_no_width() -> None:
    law = ScoreLaw.fit(np.full(100, 0.3), 5.0)
    assert np.abs(law.ppf(np.array([0.1, 0.9]))).max() < 1e-3


def test_a_few_slips_reach_into_no_range_and_into_no_mean() -> None:
    """Six prices of 2,400 with a nought too many, nine units of spread above their mid, as the demo market
    has them: a car that is little known has a unit of .9, of which nine are a factor of 3,000."""
    rng = np.random.default_rng(11)
    plain = rng.standard_t(15, 2_394)
    with_slips = np.concatenate([plain, [7.0, 8.0, 9.0, 9.5, 10.0, 11.0]])
    laws = [ScoreLaw.fit(scores, 15.0) for scores in (plain, with_slips)]
    levels = (np.arange(4_000) + 0.5) / 4_000
    true, found = (float(np.exp(0.9 * law.ppf(levels)).mean()) for law in laws)
    assert found == pytest.approx(true, rel=0.1)
    inner = np.array([0.05, 0.1, 0.9, 0.95])
    np.testing.assert_allclose(laws[1].ppf(inner), laws[0].ppf(inner), atol=0.06)
