"""What stands behind an adjustment, on a market whose effects are known."""

from functools import cache

import numpy as np
import polars as pl
import pytest

from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.comparables import Comparables, find_comparables
from pricing.evidence.comparison.sale_features import SaleFeatures
from pricing.evidence.comparison.support import _Pool, adjustment_support, spans_nought
from pricing.model.price_model import PriceModel
from tests.evidence.markets import PLAIN, TODAY, plain_sales, small_book
from tests.evidence.test_comparables import the_car


@cache
def drawn() -> tuple[SaleFeatures, pl.DataFrame]:
    """A market with a step of .3 (log) between bands, and the support of an average car's adjustments."""
    sales = plain_sales(600, seed=3).with_columns(condition_score=pl.lit(None, dtype=pl.Float64))
    indexed = SaleFeatures.of(sales, PriceModel(PLAIN).fit(sales))
    at = indexed.span[1]
    own = sales.filter(pl.col("condition_band") == "average", pl.col("model") == "M1").head(1)
    others = indexed.sales.filter(pl.col("model") == "M1").sort("event_date").tail(12)
    subject, encoded = indexed.effects.encode(own, at), indexed.effects.encode(others, at)
    day = float(pl.Series([at]).to_physical()[0])
    days = others["event_date"].to_physical().cast(pl.Float64).to_numpy()
    logs = np.column_stack(
        [np.zeros(12), indexed.dates.between(days, np.full(12, day)),
         indexed.effects.differences(subject, encoded)]
    )  # fmt: skip
    names = ("conditions of sale", "date", *indexed.effects.lines)
    told = adjustment_support(indexed, subject, encoded, others, logs, names, day)
    return indexed, told.join(others.select("record_id", "condition_band"), on="record_id")


@pytest.mark.parametrize(
    ("band", "truth"), [("solid restorable", 0.3), ("top condition", -0.3), ("project", 0.6)]
)
def test_matched_pairs_show_the_effect_that_the_market_was_drawn_with(band: str, truth: float) -> None:
    _, told = drawn()
    lines = told.filter(pl.col("line") == "condition", pl.col("condition_band") == band)
    assert lines.height > 0
    row = lines.row(0, named=True)
    assert row["pairs"] >= 10
    shown = np.log1p(row["pair_per_cent"] / 100)
    assert abs(shown - truth) < 0.06  # noise of .1 a sale, the median of many pairs
    low, high = (np.log1p(row[name] / 100) for name in ("low_per_cent", "high_per_cent"))
    assert low < truth < high and high - low < 0.25


def test_cars_that_nobody_graded_are_no_pair() -> None:
    """Their condition may be any: of the sales of a market without grades none is like another."""
    graded, told = drawn()
    none = plain_sales(600, seed=3).with_columns(
        condition_score=pl.lit(None, dtype=pl.Float64), condition_band=pl.lit(None, dtype=pl.String)
    )
    sales = pl.concat([none.with_columns("other" + pl.col("record_id")), plain_sales(600, seed=3)],
                      how="diagonal_relaxed")  # fmt: skip
    indexed = SaleFeatures.of(sales, PriceModel(PLAIN).fit(sales))
    rows = np.arange(len(indexed.sales))
    known, odd = indexed.graded(rows), rows % 2 == 1
    pool = _Pool(0.3 * odd[:, None], np.zeros(len(rows)), known)  # every second car is 0.3 better
    assert len(pool.pairs(0, 0.3)) == (known & odd).sum() * (known & ~odd).sum()
    assert told["pairs"].sum() > 0
    assert graded.graded(np.arange(10)).all()


def test_the_interval_of_the_date_line_is_the_indexs() -> None:
    indexed, told = drawn()
    dates = told.filter(pl.col("line") == "date")
    assert dates["pairs"].sum() == 0
    assert (dates["sales"] == indexed.dates.size).all()
    assert dates.select((pl.col("low_per_cent") < pl.col("high_per_cent")).all()).item()


@pytest.fixture(scope="module")
def found() -> Comparables:
    return find_comparables(small_book(), the_car(), as_of=TODAY, with_support=True)


def test_every_line_that_adjusts_has_its_support(found: Comparables) -> None:
    assert found.support is not None
    moved = found.lines.filter(pl.col("step") >= 2, pl.col("factor") != 1.0)
    assert set(found.support.select("record_id", "line").rows()) == set(
        moved.select("record_id", "line").rows()
    )


def test_lines_whose_interval_spans_nought_can_be_left_out(found: Comparables) -> None:
    sure = find_comparables(small_book(), the_car(), as_of=TODAY, with_support=True, leave_out_unsure=True)
    assert sure.support is not None and found.support is not None

    def unsure(told: pl.DataFrame) -> int:
        both = (pl.col("low_per_cent") <= 0) & (pl.col("high_per_cent") >= 0) & (pl.col("line") != "date")
        return told.filter(both).height

    assert unsure(found.support) > 0 and unsure(sure.support) == 0
    assert sure.lines["source"].str.starts_with("left out: the interval").any()
    assert spans_nought(np.array([0.0]), np.array([1.0])).tolist() == [False]


def test_a_sale_is_weighed_by_hand(found: Comparables) -> None:
    first = found.table["record_id"][0]
    half = find_comparables(
        small_book(),
        the_car(),
        as_of=TODAY,
        choices=[Choice(first, "weigh", "one of two bidders", None, 50.0)],
    )
    before, after = found.table["weight"][0], half.table["weight"][0]
    assert after == pytest.approx(before / 2 / (1 - before / 2))
    assert half.table["weight"].sum() == pytest.approx(1.0)


def test_beyond_the_rule_of_thumb_a_sale_counts_for_less_in_earnest(found: Comparables) -> None:
    logs = found.lines.filter(pl.col("step") >= 2).group_by("record_id").agg(
        gross=pl.col("factor").log().abs().sum()
    )  # fmt: skip
    told = found.table.join(logs, on="record_id")
    inside, outside = told.filter(pl.col("gross") <= 0.25), told.filter(pl.col("gross") > 0.4)
    assert inside.height and outside.height
    assert outside["weight"].to_numpy().mean() < 0.6 * inside["weight"].to_numpy().mean()
