"""Charts hold the numbers of their facts, name their axes with units, and can be drawn."""

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import altair as alt
import polars as pl
import pytest

from pricing.charts import valuation as charts
from pricing.decisions.valuation import Valuation, value_car
from tests.cars import car_of
from tests.known_market import KnownMarket, KnownModel

CAR = {
    "make": "Corvane",
    "model": "Six",
    "year": 1965,
    "condition_band": "average",
    "options": ["wire_wheels"],
}
VALUATION = value_car(KnownMarket(), KnownModel(), car_of(KnownMarket(), CAR), asking=Decimal(11000))
Draw = Callable[[Valuation], alt.LayerChart]

DRAWN: dict[Draw, Callable[[Valuation], str]] = {
    charts.distribution_chart: charts.distribution_caption,
    charts.bands_chart: charts.bands_caption,
    charts.terms_chart: charts.terms_caption,
}


def drawn(chart: alt.LayerChart) -> dict[str, Any]:
    return dict(json.loads(chart.to_json()))


@pytest.mark.parametrize("draw", DRAWN)
def test_every_chart_has_a_title_with_basis_currency_and_date(
    draw: Draw,
) -> None:
    title = drawn(draw(VALUATION))["title"]
    assert title["text"]
    assert title["subtitle"] == "all-in prices in EUR at 30 June 2026"


@pytest.mark.parametrize("draw", DRAWN)
def test_every_price_axis_names_its_unit_and_basis(draw: Draw) -> None:
    titles = {layer["encoding"].get("x", {}).get("title") for layer in drawn(draw(VALUATION))["layer"]}
    assert "price (EUR, all-in)" in titles


@pytest.mark.parametrize("draw", DRAWN)
def test_every_chart_has_a_sentence_and_can_be_drawn(draw: Draw) -> None:
    assert DRAWN[draw](VALUATION).endswith(".")
    vl_convert = pytest.importorskip("vl_convert", reason="draws charts without a browser")
    assert "<svg" in vl_convert.vegalite_to_svg(draw(VALUATION).to_json())


def rows_of(chart: alt.LayerChart, column: str) -> list[dict[str, Any]]:
    datasets = drawn(chart)["datasets"].values()
    return next(rows for rows in datasets if rows and column in rows[0])


def test_distribution_draws_every_bracket_in_cars_of_a_hundred() -> None:
    rows = rows_of(charts.distribution_chart(VALUATION), "cars")
    assert [row["cars"] for row in rows] == pytest.approx((100 * VALUATION.distribution["share"]).to_list())
    inside = [row for row in rows if row["part"] == "between low and high"]
    assert 0 < len(inside) < len(rows)


def test_the_asking_price_is_marked_where_there_is_one() -> None:
    assert rows_of(charts.distribution_chart(VALUATION), "words")
    words = json.dumps(drawn(charts.distribution_chart(VALUATION)))
    assert "asking EUR 11,000" in words
    silent = value_car(KnownMarket(), KnownModel(), car_of(KnownMarket(), CAR))
    for draw in (charts.distribution_chart, charts.bands_chart):
        assert "asking EUR" not in json.dumps(drawn(draw(silent)))


def test_bands_draw_every_range_and_every_sale_but_far_dearer_ones() -> None:
    chart = charts.bands_chart(VALUATION)
    assert len(rows_of(chart, "part")) == 4
    highest = charts.ROOM * max(VALUATION.bands["high"].to_list())
    assert len(rows_of(chart, "event_date")) == VALUATION.sales.height
    low = VALUATION.bands.with_columns(high=pl.lit(5000.0))
    narrow = value_car(KnownMarket(), KnownModel(), car_of(KnownMarket(), CAR))
    shown = rows_of(charts.bands_chart(_with_bands(narrow, low)), "event_date")
    assert 0 < len(shown) < VALUATION.sales.height
    assert max(row["price"] for row in shown) <= charts.ROOM * 5000.0 < highest


def test_terms_end_at_the_mid_price() -> None:
    rows = rows_of(charts.terms_chart(VALUATION), "after")
    assert VALUATION.mid is not None
    assert rows[-1]["after"] == pytest.approx(float(VALUATION.mid))
    assert rows[0]["before"] == rows[0]["after"]


def _with_bands(valuation: Valuation, bands: pl.DataFrame) -> Valuation:
    return Valuation(**{**vars(valuation), "bands": bands})
