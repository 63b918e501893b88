"""Charts of a backtest hold its scores, name their axes with units, and can be drawn; the facts are made by
hand."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import altair as alt
import numpy as np
import polars as pl
import pytest

from pricing.charts import scores as score_charts
from pricing.charts.scores import (
    MOST_POINTS,
    coverage_caption,
    coverage_chart,
    part_words,
    ratio_caption,
    ratio_chart,
    value_words,
    width_caption,
    width_chart,
)
from pricing.model.accuracy.backtest import Backtest
from pricing.model.prediction import DEPTHS
from pricing.vocabulary import CONDITION_BANDS


def made(sales: int = 60, withheld: int = 0) -> Backtest:
    """Sales at 100 with ranges of 80 to 120 and 60 to 180; every fifth price was 130, every tenth 200."""
    row = np.arange(sales)
    actual = np.where(row % 10 == 0, 200.0, np.where(row % 5 == 0, 130.0, 100.0))
    given = row >= withheld
    ranges = {"low_80": 80.0, "high_80": 120.0, "low_90": 60.0, "high_90": 180.0}
    rows = pl.DataFrame(
        {
            "origin": [date(2025, 1, 1)] * sales,
            "event_date": [date(2025, 1, 2) + timedelta(days=int(day)) for day in row],
            "evidence": np.where(row % 2 == 0, DEPTHS[3], DEPTHS[4]),
            "condition_band": np.where(row % 3 == 0, "average", "project"),
            "mid": np.full(sales, 100.0) + row / sales,
            "actual": actual,
            "pinball": np.ones(sales),
            "crps": np.ones(sales),
            **{name: np.where(given, value, np.nan) for name, value in ranges.items()},
            "interval_score_80": np.ones(sales),
            "interval_score_90": np.ones(sales),
        }
    ).with_columns(pl.col(*ranges).fill_nan(None), pl.col("condition_band").replace({"average": None}))
    return Backtest(rows, (date(2025, 1, 1),), {"evidence": DEPTHS, "condition_band": CONDITION_BANDS})


MADE = made()
DRAWN: dict[str, alt.LayerChart] = {
    "coverage": coverage_chart(MADE),
    "coverage by band": coverage_chart(MADE, "condition_band"),
    "width": width_chart(MADE),
    "ratio": ratio_chart(MADE, "EUR"),
}


def drawn(chart: alt.LayerChart) -> dict[str, Any]:
    return dict(json.loads(chart.to_json()))


def rows_of(chart: alt.LayerChart, column: str) -> list[dict[str, Any]]:
    datasets = drawn(chart)["datasets"].values()
    return next(rows for rows in datasets if rows and column in rows[0])


def axis_titles(chart: alt.LayerChart) -> set[str]:
    return {
        layer["encoding"][axis]["title"]
        for layer in drawn(chart)["layer"]
        for axis in ("x", "y")
        if "title" in layer["encoding"].get(axis, {})
    }


@pytest.mark.parametrize("name", DRAWN)
def test_every_chart_says_which_sales_and_can_be_drawn(name: str) -> None:
    title = drawn(DRAWN[name])["title"]
    assert title["text"]
    assert title["subtitle"].startswith(
        "60 sales from 2 January 2025 to 2 March 2025, each priced by a model"
    )
    vl_convert = pytest.importorskip("vl_convert", reason="draws charts without a browser")
    assert "<svg" in vl_convert.vegalite_to_svg(DRAWN[name].to_json())


@pytest.mark.parametrize(
    ("name", "titles"),
    [
        ("coverage", {"sales inside their range (%), with the 95% interval", "evidence depth"}),
        ("coverage by band", {"sales inside their range (%), with the 95% interval", "condition band"}),
        ("width", {"high price over low price (times, median)", "evidence depth"}),
        (
            "ratio",
            {"value: half price paid, half mid price (EUR, all-in)", "mid price over price paid (ratio)"},
        ),
    ],
)
def test_every_axis_names_its_unit(name: str, titles: set[str]) -> None:
    assert axis_titles(DRAWN[name]) == titles


def test_coverage_is_drawn_in_per_cent_with_its_interval_beside_what_was_promised() -> None:
    rows = rows_of(DRAWN["coverage"], "coverage")
    scores = MADE.scores("evidence")
    assert len(rows) == 2 * len(scores)
    for share in (80, 90):
        own = [row for row in rows if row["range"] == f"{share}% range"]
        for end in ("", "_low", "_high"):
            expected = (100 * scores[f"coverage{end}_{share}"]).to_list()
            assert [row[f"coverage{end}"] for row in own] == pytest.approx(expected)
    assert [row["promised"] for row in rows_of(DRAWN["coverage"], "promised")] == [80, 90]


def test_values_stand_in_their_order_and_the_ungraded_last() -> None:
    layer = drawn(DRAWN["coverage by band"])["layer"][1]
    assert layer["encoding"]["y"]["sort"] == ["project", "not graded"]


def test_width_is_high_over_low() -> None:
    rows = rows_of(DRAWN["width"], "width")
    assert {(row["range"], round(row["width"], 9)) for row in rows} == {
        ("80% range", 1.5),
        ("90% range", 3.0),
    }


def test_a_part_without_a_range_is_not_drawn() -> None:
    none = made(withheld=60)
    assert '"coverage_low": ' not in json.dumps(drawn(coverage_chart(none))["datasets"])
    assert "For 60 sales a range was refused" in coverage_caption(none)
    assert "refused" not in coverage_caption(MADE)


def test_ratios_stand_against_a_value_that_takes_no_side() -> None:
    points = rows_of(DRAWN["ratio"], "value")
    assert len(points) == len(MADE.rows)
    median = MADE.scores()["median_ratio"][0]
    for row in points:
        assert row["ratio"] == pytest.approx(row["mid"] / row["actual"])
        assert row["value"] == pytest.approx(row["actual"] / 2 + row["mid"] / 2 / median)
    lines = rows_of(DRAWN["ratio"], "line")
    assert [(line["line"], line["ratio"]) for line in lines] == [("as paid", 1.0), ("median", median)]


def test_many_sales_are_thinned_and_the_caption_says_so() -> None:
    many = made(2 * MOST_POINTS + 1)
    points = rows_of(ratio_chart(many, "EUR"), "value")
    assert len(points) <= MOST_POINTS
    assert f"{len(points):,} of {len(many.rows):,} sales are drawn" in ratio_caption(many)
    assert "drawn" not in ratio_caption(MADE)


def test_a_single_sale_can_be_drawn() -> None:
    alone = made(1)
    assert len(rows_of(ratio_chart(alone, "EUR"), "line")) == 1
    assert ratio_caption(alone).endswith("the price paid.")
    assert rows_of(coverage_chart(alone), "coverage")


@pytest.mark.parametrize("caption", [coverage_caption, width_caption, ratio_caption])
def test_every_chart_has_a_sentence(caption: Callable[[Backtest], str]) -> None:
    assert caption(MADE).endswith(".")
    assert caption.__name__.replace("caption", "chart") in dir(score_charts)


def test_parts_and_values_have_words() -> None:
    assert [part_words(part) for part in ("evidence", "sale_year", "make")] == [
        "evidence depth",
        "year of sale",
        "make",
    ]
    assert value_words("channel", None) == "not said"
    assert value_words("make", "Corvane") == "Corvane"
