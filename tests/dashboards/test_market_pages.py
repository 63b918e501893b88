"""The pages about the market and about how good its numbers are: both are the library's."""

from datetime import date
from pathlib import Path

import polars as pl
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from pricing.evidence.depth import market_depth
from pricing.evidence.indices.index import price_index
from pricing.evidence.movers import movers
from pricing.model.accuracy.backtest import backtest, rolling_origins
from pricing.model.features.spec import FeatureSpec
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.words.depth import depth_sentences, mover_sentence, movers_sentence, premium_sentences
from pricing.words.evidence import index_sentence
from pricing.words.scores import coverage_sentence, ratio_sentence
from tests.dashboards.pages import a_page, press, said, table
from tests.small_market import write_sales


def last_sale(sales: pl.DataFrame) -> date:
    """The day of the last sale on record."""
    day = sales.filter(outcome="sold")["event_date"].max()
    assert isinstance(day, date)
    return day


@pytest.fixture
def page(small_market: Market, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    return a_page("market")


def test_the_index_and_the_depth_are_the_librarys(page: AppTest, small_market: Market) -> None:
    page.run()
    assert not page.exception
    sales = small_market.sales()
    index = price_index(sales, period="year")
    assert index_sentence(index) in said(page)
    assert table(page, "period")["index"].round(6).dropna().to_list() == [
        round(value, 6) for value in index.frame["index"].drop_nulls()
    ]
    depth = market_depth(sales, model=load(small_market), every_record=small_market.sales(every_record=True))
    assert all(sentence in said(page) for sentence in depth_sentences(depth))
    found = movers(sales, last_sale(sales))
    assert movers_sentence(found) in said(page)
    assert table(page, "told")["on_record"].sum() == found["on_record"].sum()
    assert all(told in said(page) for told in premium_sentences(depth, small_market.base_currency))
    page.selectbox(key="method").select("fisher").run()
    assert index_sentence(price_index(sales, method="fisher", period="year")) in said(page)


def test_a_model_is_told_by_its_own_sales_and_its_gaps_are_said(page: AppTest, small_market: Market) -> None:
    sales = small_market.sales()
    found = movers(sales, last_sale(sales))
    for place in (0, -1):  # a model with a figure, and one without
        row = found.row(place, named=True)
        page = page.run()
        page.selectbox(key="make").select(row["make"]).run()
        page.selectbox(key="model").select(row["model"]).run()
        assert not page.exception
        assert mover_sentence(row) in said(page)


def test_what_rose_and_fell_is_searched_by_part_of_a_name(page: AppTest, small_market: Market) -> None:
    page.run()
    name = str(small_market.sales()["model"][0])
    page.text_input(key="mover").set_value(name[:-1].upper()).run()
    assert all(name[:-1].lower() in model.lower() for model in table(page, "told")["model"])
    page.text_input(key="mover").set_value("nothing of the kind").run()
    assert "Try part of the name." in said(page)


def test_a_make_of_few_sales_is_told_what_would_help(page: AppTest, small_market: Market) -> None:
    sales = small_market.sales()
    few = sales.group_by("make").len().sort("len")["make"][0]
    page.run()
    page.selectbox(key="make").select(few)
    page.selectbox(key="period").select("month").run()
    assert not page.exception
    assert "a longer period or a wider choice of sales would help" in said(page)


def test_scores_are_made_on_a_press_and_are_the_librarys(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    monkeypatch.setenv("PRICING_MARKET", str(copy))
    monkeypatch.setattr("dashboards.scores.ORIGINS", 1)
    page = a_page("scores").run()
    assert not page.exception
    press(page, "Score the price model now")
    assert not page.exception
    sales, spec = small_market.sales(), FeatureSpec.cars()
    scored = backtest(sales, spec, rolling_origins(sales, spec, 1), known=small_market.sales)
    overall = scored.scores().row(0, named=True)
    assert coverage_sentence(overall) in said(page)
    assert ratio_sentence(overall) in said(page)
    assert page.metric[0].value == f"{overall['cod']:.1f}"
    page.selectbox(key="part_of").select("condition_band").run()
    assert list(table(page, "coverage_80")["sales"])[1:] == scored.scores("condition_band")["sales"].to_list()
    assert date.today() >= scored.origins[0]
    st.cache_resource.clear()  # as a server that starts anew: nothing in memory
    fit = small_market.fits()["fit_id"][-1]
    again = a_page("scores").run()
    assert coverage_sentence(overall) in said(again)
    assert f"when {fit} was in force; neither records nor the fit have changed since" in said(again)
    assert [button for button in again.button if button.label.startswith("Score")] == []
    write_sales(tmp_path / "more.parquet", rows=650)
    Market.open(copy).load([tmp_path / "more.parquet"])
    changed = a_page("scores").run()
    assert "records or the fit have changed since" in said(changed)
    assert [button for button in changed.button if button.label.startswith("Score")]
