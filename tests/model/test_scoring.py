"""Scores are proper, agree with each other, and refuse what cannot be scored."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from pricing.arrays import Floats
from pricing.errors import ModelError
from pricing.model.accuracy.scoring import (
    binomial_interval,
    coverage,
    crps_quantiles,
    interval_score,
    pinball,
)

VALUES = st.floats(-1e6, 1e6)
INSIDE = st.floats(0.01, 0.99)
MEMBERS = arrays(np.float64, st.integers(1, 30), elements=VALUES)


@settings(deadline=None)
@given(VALUES, VALUES, INSIDE)
def test_pinball_is_never_negative_and_mirrors(actual: float, quantile: float, level: float) -> None:
    loss = float(pinball(actual, quantile, level))
    assert loss >= 0.0
    assert (loss == 0.0) == (actual == quantile)
    assert loss == pytest.approx(float(pinball(-actual, -quantile, 1.0 - level)), rel=1e-9)


@settings(deadline=None)
@given(arrays(np.float64, st.integers(1, 40), elements=VALUES), INSIDE)
def test_no_forecast_beats_the_sample_quantile(sample: Floats, level: float) -> None:
    best = np.quantile(sample, level, method="inverted_cdf")
    others = pinball(sample[:, None], sample[None, :], level).mean(axis=0)
    assert pinball(sample, best, level).mean() <= others.min() + 1e-9 * (1 + np.abs(sample).max())


@settings(deadline=None)
@given(VALUES, VALUES, VALUES, INSIDE)
def test_interval_score_is_the_pinball_of_both_ends(one: float, two: float, actual: float, c: float) -> None:
    low, high = min(one, two), max(one, two)
    tail = (1.0 - c) / 2.0
    ends = pinball(actual, low, tail) + pinball(actual, high, 1.0 - tail)
    assert float(interval_score(actual, low, high, c)) == pytest.approx(float(ends / tail), abs=1e-6)


def members_score(actual: float, members: Floats) -> float:
    """The score of equally likely members: their quantiles at the levels in the middle of each share."""
    levels = (np.arange(len(members)) + 0.5) / len(members)
    return float(crps_quantiles(actual, np.sort(members), levels))


@settings(deadline=None)
@given(VALUES, MEMBERS)
def test_quantiles_at_mid_levels_score_as_the_ensemble(actual: float, members: Floats) -> None:
    """``E|X - y| - E|X - X'| / 2`` (Gneiting and Raftery 2007)."""
    apart = np.abs(members[:, None] - members[None, :]).mean() / 2
    expected = np.abs(members - actual).mean() - apart
    assert members_score(actual, members) == pytest.approx(expected, abs=1e-6)


@settings(deadline=None)
@given(VALUES, MEMBERS, st.floats(0.1, 10.0), VALUES)
def test_the_score_moves_with_the_unit(actual: float, members: Floats, unit: float, shift: float) -> None:
    moved = members_score(unit * actual + shift, unit * members + shift)
    assert moved == pytest.approx(unit * members_score(actual, members), abs=1e-6)


def test_a_single_member_scores_its_distance() -> None:
    assert members_score(3.0, np.array([5.0])) == 2.0


def test_the_true_law_scores_best() -> None:
    y = np.random.default_rng(5).normal(2.0, 1.5, 5_000)
    levels = (np.arange(200) + 0.5) / 200
    laws = [(m, s) for m in (1.5, 2.0, 2.5) for s in (1.0, 1.5, 2.0)]
    scores = {law: crps_quantiles(y, stats.norm(*law).ppf(levels), levels).mean() for law in laws}
    assert min(scores, key=lambda law: scores[law]) == (2.0, 1.5)


@pytest.mark.parametrize("trials", [1, 7, 30])
def test_binomial_interval_keeps_its_confidence_for_any_share(trials: int) -> None:
    hits = np.arange(trials + 1)
    low, high = binomial_interval(hits, trials)
    for share in np.linspace(0.01, 0.99, 25):
        held = (low <= share) & (share <= high)
        assert stats.binom(trials, share).pmf(hits)[held].sum() >= 0.95 - 1e-12


def test_without_a_trial_the_share_is_anything() -> None:
    low, high = binomial_interval(0, 0)
    assert (float(low), float(high)) == (0.0, 1.0)


RANGES = pl.DataFrame(
    {
        "depth": ["many", "many", "few", "few", "none"],
        "actual": [10.0, 20.0, 30.0, 40.0, 50.0],
        "low": [9.0, 21.0, 10.0, 40.0, None],
        "high": [18.0, 42.0, 90.0, 40.0, None],
    }
)


def test_coverage_counts_by_group_and_keeps_refused_ranges_apart() -> None:
    table = coverage(RANGES, "depth")
    assert table["depth"].to_list() == ["few", "many", "none"]
    assert table["ranges"].to_list() == [2, 2, 0]
    assert table["withheld"].to_list() == [0, 0, 1]
    assert table["covered"].to_list() == [2, 1, 0]
    assert table["coverage"].to_list() == [1.0, 0.5, None]
    assert table["width"].to_list() == [5.0, 2.0, None]
    low, high = binomial_interval(1, 2)
    assert table.row(1, named=True)["coverage_low"] == pytest.approx(float(low))
    assert table.row(1, named=True)["coverage_high"] == pytest.approx(float(high))
    assert coverage(RANGES).select("ranges", "withheld", "covered").row(0) == (4, 1, 3)


@settings(deadline=None)
@given(st.permutations(range(5)), st.floats(0.01, 100.0))
def test_coverage_knows_no_order_and_no_unit(order: list[int], unit: float) -> None:
    other = RANGES[order].with_columns(pl.col("low", "high") * unit, actual=pl.col("actual") * unit)
    columns = ("ranges", "withheld", "covered", "coverage")
    # a bound that is met exactly stays met, since both sides are scaled alike
    assert coverage(other, "depth").select(columns).equals(coverage(RANGES, "depth").select(columns))


@pytest.mark.parametrize(
    "change",
    [
        {"actual": None},
        {"actual": 0.0},
        {"actual": float("nan")},
        {"low": -1.0},
        {"high": float("inf")},
        {"low": 1e9},
    ],
)
def test_coverage_refuses_what_is_no_price(change: dict[str, float | None]) -> None:
    wrong = RANGES.head(1).with_columns(**{k: pl.lit(v, dtype=pl.Float64) for k, v in change.items()})
    with pytest.raises(ModelError, match="positive, finite prices"):
        coverage(wrong)


def test_what_cannot_be_scored_is_refused() -> None:
    with pytest.raises(ModelError, match="actual must be finite to be scored; got nan"):
        pinball([1.0, float("nan")], 1.0, 0.5)
    with pytest.raises(ModelError, match="level lies strictly between 0 and 1; got 1.0"):
        pinball(1.0, 1.0, 1.0)
    with pytest.raises(ModelError, match="low end of a range exceeds its high end"):
        interval_score(1.0, 3.0, 2.0, 0.8)
    with pytest.raises(ModelError, match="levels must rise"):
        crps_quantiles(1.0, [1.0, 2.0], [0.5, 0.5])
