from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.car_fields import FIELDS
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import (
    FEWEST,
    GRADED,
    ComparablesIndex,
    RangeScores,
    leave_one_out,
)
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from tests.cars import car_of
from tests.evidence.markets import TODAY, small_book, small_market, small_model


def later_sales(rows: int, models: int, seed: int, *, all_sold: bool = False) -> pl.DataFrame:
    """The last fifth of a simulated market, valued by a model and scores that have seen only the rest."""
    frame = simulate_market(rows, models, seed, all_sold=all_sold)[0].sort("event_date")
    cut = len(frame) * 4 // 5
    model = PriceModel(FeatureSpec.cars()).fit(frame[:cut])
    scores = ComparablesIndex.build(frame[:cut], model).scores
    indexed = replace(ComparablesIndex.build(frame, model), scores=scores)
    valued = leave_one_out(indexed, model, from_day=frame["event_date"][cut]).drop_nulls("low")
    return valued.with_columns(inside=pl.col("price").is_between("low", "high"))


@pytest.mark.parametrize(
    ("rows", "models", "seeds", "all_sold"),
    [(4_000, 60, (201, 202), False), (600, 300, (203, 204), True)],
    ids=["many sales a model", "two sales a model"],
)
def test_the_range_holds_its_share_of_every_kind_of_car(
    rows: int, models: int, seeds: tuple[int, ...], all_sold: bool
) -> None:
    """Markets that nothing was tuned on. By the normal law of the residuals the same ranges held .89 of the
    graded cars of models of many sales and .66 of those of models of two. The band: .77 to .83, and two
    standard deviations of so many draws beside it."""
    valued = pl.concat(later_sales(rows, models, seed, all_sold=all_sold) for seed in seeds)
    for part in valued.partition_by("graded"):
        slack = 2 * np.sqrt(0.16 / part.height)
        inside = part.select(pl.col("inside").mean()).item()
        assert 0.77 - slack < inside < 0.83 + slack


def test_scores_are_kept_apart_where_they_differ() -> None:
    kinds = small_book().scores
    graded, others = np.array([True, True, False]), np.array([3, 300, 3])
    named = kinds.kinds(graded, others)
    assert set(named) <= set(kinds.scores)
    drawn = np.sort(np.abs(np.random.default_rng(1).normal(size=200)))
    apart = RangeScores(
        {f"{GRADED} of a model of few sales": 2 * drawn, f"{GRADED} of a model of many sales": drawn}
    )
    few, many = apart.kinds(np.array([True, True]), np.array([3, 300]))
    assert apart.quantile(few, 0.8) == pytest.approx(2 * apart.quantile(many, 0.8))  # type: ignore[operator]


def test_a_quantile_is_the_conformal_rank_or_nothing() -> None:
    """k = ceil((n + 1) c), Vovk, Gammerman and Shafer 2005; n = 50, c = .9 gives 46."""
    scores = RangeScores({GRADED: np.arange(1.0, 51.0)})
    assert scores.quantile(GRADED, 0.9) == 46.0
    assert scores.quantile(GRADED, 0.99) is None
    assert RangeScores({GRADED: np.arange(FEWEST - 1.0)}).quantile(GRADED, 0.8) is None


def test_a_kind_with_too_few_scores_has_a_value_and_no_range() -> None:
    frame, model = small_market()[0], small_model()
    few = frame.filter(pl.col("outcome") == "sold").sort("event_date", "record_id")[:60]
    indexed = ComparablesIndex.build(few, model)
    for row in indexed.sales.filter(pl.col("condition_band").is_null()).iter_rows(named=True):
        found = find_comparables(
            indexed, car_of(indexed.sales, {name: row[name] for name in FIELDS}), as_of=TODAY, count=3
        )
        assert found.low is None and found.high is None
        assert found.reason is not None and f"needs {FEWEST}" in found.reason
        assert str(found.scores) in found.reason and found.mid > 0
        return
    pytest.fail("no car that was not graded")
