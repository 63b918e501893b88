"""Tables and charts as every page shows them."""

import threading
from typing import Any

import polars as pl
import pytest
import streamlit as st

from dashboards.exhibits import show_chart
from dashboards.tables import TableColumn, as_cards, headings, show_table
from pricing.charts.figures import figures
from pricing.charts.position import position_picture
from pricing.charts.valuation import bands_chart, distribution_chart, terms_chart
from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.store.market import Market
from tests.cars import car_of
from tests.small_market import common_car

PATIENCE = 120.0
"""Seconds in which all visitors are done many times over."""


@pytest.mark.soak
def test_visitors_who_share_a_frame_do_not_wait_for_each_other(
    small_market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Streamlit turns a table into pandas; of one object in two threads at once that never ended."""
    monkeypatch.setattr(st, "dataframe", lambda frame, **options: frame.to_pandas())
    valuation = value_car(small_market, load(small_market), car_of(small_market, common_car(small_market)))

    def visit() -> None:
        for _ in range(25):
            terms_chart(valuation)
            show_table(valuation.sales, "sales", {name: name for name in valuation.sales.columns})
            bands_chart(valuation)

    visitors = [threading.Thread(target=visit, daemon=True) for _ in range(8)]
    for visitor in visitors:
        visitor.start()
    for visitor in visitors:
        visitor.join(PATIENCE)
    assert not any(visitor.is_alive() for visitor in visitors)


@pytest.mark.parametrize("draw", [position_picture, distribution_chart, terms_chart, bands_chart])
def test_of_another_car_only_the_data_of_a_chart_differ(
    draw: Any, small_market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The browser then puts them into the picture it has, in place of drawing up a new one."""
    drawn: list[dict[str, Any]] = []
    monkeypatch.setattr(st, "vega_lite_chart", lambda chart, **options: drawn.append(chart))
    model = load(small_market)
    for band in ("project", "top condition"):
        car = common_car(small_market) | {"condition_band": band}
        show_chart(draw(value_car(small_market, model, car_of(small_market, car))), "What it shows.", "chart")
    tables, other_tables = (chart.pop("datasets") for chart in drawn)
    assert drawn[0] == drawn[1]
    assert tables.keys() == other_tables.keys()
    assert any(not table.equals(other_tables[name]) for name, table in tables.items())


def test_a_card_says_the_money_first_and_low_and_high_as_one() -> None:
    frame = pl.DataFrame(
        {
            "make": ["Wexcombe", "Zellkamp"],
            "model": ["Sedge", "Ginster"],
            "low": [2840, 900],
            "mid": [3890, 900],
            "high": [5160, 900],
            "record_id": ["a1", "b2"],
            "raw": ["<b>", "cell " * 40],
        }
    )
    money = {name: TableColumn(f"{name.capitalize()} (EUR)") for name in ("low", "mid", "high")}
    names = headings("make", "model")
    cards = as_cards(frame, names | money | headings("record_id") | {"raw": TableColumn("As it stands")})
    first, second = cards.split("</li>")[:2]
    assert first.startswith(
        '<ul class="rows"><li><strong>3,890 <small>Mid (EUR)</small></strong><b>Wexcombe Sedge</b>'
    )
    assert "<span>low to high (EUR)</span> 2,840 to 5,160" in first
    assert "&lt;b&gt;" in first and "a1" not in cards
    assert " to " not in second and "<summary>As it stands</summary>cell cell" in second


def test_a_picture_in_its_parts_is_by_the_schema_and_a_table(small_market: Market) -> None:
    valuation = value_car(small_market, load(small_market), car_of(small_market, common_car(small_market)))
    picture = position_picture(valuation)
    assert picture.to_dict(validate=True)["datasets"] == picture.to_dict()["datasets"]
    columns, bands, *_ = figures(picture)
    assert columns.height == valuation.distribution.height
    assert bands.height == valuation.bands.drop_nulls("mid").height
