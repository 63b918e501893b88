"""The page that says where a car sits: its numbers are the library's, and its widgets move them."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from streamlit.testing.v1 import AppTest

from pricing.decisions.valuation import Valuation, value_car
from pricing.documents import sentences
from pricing.model.saved import load
from pricing.service.serving import address
from pricing.store import Market
from tests.small_market import common_car

APP = str(Path(__file__).parents[2] / "dashboards" / "app.py")
WAIT = 60


@pytest.fixture
def car(small_market: Market) -> dict[str, Any]:
    return common_car(small_market)


@pytest.fixture
def page(small_market: Market, monkeypatch: pytest.MonkeyPatch) -> Iterator[AppTest]:
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    yield AppTest.from_file(APP, default_timeout=WAIT)


def choose(page: AppTest, car: dict[str, Any], asking: int | None = None) -> AppTest:
    """Open the page at the address of a car."""
    query = urlsplit(address(8501, car, None if asking is None else Decimal(asking))).query
    for name, values in parse_qs(query).items():
        page.query_params[name] = values
    return page.run()


def library(market: Market, car: dict[str, Any], asking: int | None = None) -> Valuation:
    return value_car(market, load(market), car, asking=None if asking is None else Decimal(asking))


def said(page: AppTest) -> str:
    return "\n".join(part.value for part in (*page.markdown, *page.caption, *page.info, *page.error))


def test_it_asks_for_a_car_first(page: AppTest) -> None:
    page.run()
    assert not page.exception
    assert "Choose a make and a model" in page.info[0].value
    assert not page.metric


def test_its_numbers_are_the_librarys(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    choose(page, car, asking=5000)
    assert not page.exception
    valuation = library(small_market, car, 5000)
    prices = [valuation.low, valuation.mid, valuation.high]
    assert [metric.value for metric in page.metric] == [f"{sentences.rounded(p):,}" for p in prices if p]
    assert all("EUR" in metric.label for metric in page.metric)
    words = said(page)
    assert sentences.range_sentence(valuation) in words
    assert sentences.standing_sentence(valuation) in words
    assert sentences.evidence_sentence(valuation) in words
    assert sentences.CAUTION in words


def test_its_tables_are_the_librarys(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    choose(page, car, asking=5000)
    valuation = library(small_market, car, 5000)
    terms, bands, sales = (table.value for table in page.dataframe)
    assert terms["so_far"].iloc[-1] == pytest.approx(float(valuation.mid or 0), abs=0.01)
    assert list(bands["mid"]) == pytest.approx(valuation.bands["mid"].to_list(), rel=0.006)
    assert list(sales["price"]) == [round(price) for price in valuation.sales["price"]]


def test_a_moved_widget_moves_the_numbers(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    choose(page, car | {"condition_band": "average"})
    page.selectbox(key="condition_band").select("top condition").run()
    assert not page.exception
    valuation = library(small_market, car | {"condition_band": "top condition"})
    assert page.metric[1].value == f"{sentences.rounded(valuation.mid or 0):,}"
    page.number_input(key="asking").set_value(7000.0).run()
    asked = library(small_market, car | {"condition_band": "top condition"}, 7000)
    assert sentences.standing_sentence(asked) in said(page)
    page.multiselect(key="options").set_value(["overdrive", "servo brakes"]).run()
    options = {"condition_band": "top condition", "options": ["overdrive", "servo_brakes"]}
    assert page.metric[1].value == f"{sentences.rounded(library(small_market, car | options).mid or 0):,}"


def test_miles_are_turned_into_kilometres(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    choose(page, car)
    page.number_input(key="odometer").set_value(100.0)
    page.selectbox(key="odometer_unit").select("thousand miles").run()
    valuation = library(small_market, car | {"odometer_km": 160934.4})
    assert page.metric[1].value == f"{sentences.rounded(valuation.mid or 0):,}"


def test_another_make_asks_for_a_model_again(
    page: AppTest, small_market: Market, car: dict[str, Any]
) -> None:
    choose(page, car)
    others = [make for make in page.selectbox(key="make").options if make != car["make"]]
    page.selectbox(key="make").select(others[0]).run()
    assert not page.exception
    assert not page.metric
    assert "Choose a make and a model" in said(page)


def test_every_field_of_the_car_reaches_the_model(
    page: AppTest, small_market: Market, car: dict[str, Any]
) -> None:
    choose(page, car)
    page.selectbox(key="channel").select("dealer")
    page.selectbox(key="matching_numbers").select("inspected")
    page.selectbox(key="history_file").select("yes")
    page.selectbox(key="drive_side").select("left").run()
    more = {"channel": "dealer", "matching_numbers": "inspected", "history_file": True, "drive_side": "left"}
    assert page.metric[1].value == f"{sentences.rounded(library(small_market, car | more).mid or 0):,}"


def test_a_car_that_cannot_be_is_answered_with_a_sentence(page: AppTest, car: dict[str, Any]) -> None:
    choose(page, car | {"year": 2090})
    assert not page.exception
    assert "year out of range: got 2090" in page.error[0].value


def test_a_car_without_a_range_is_told_why(page: AppTest, car: dict[str, Any]) -> None:
    choose(page, car | {"year": 1886})
    assert not page.exception
    assert not page.metric
    assert page.warning[0].value.startswith("No range can be given: year 1886")
    assert "far outside what is on record" in page.warning[0].value


def test_without_a_market_it_says_how_to_make_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRICING_MARKET", str(tmp_path / "absent.duckdb"))
    page = AppTest.from_file(APP, default_timeout=WAIT).run()
    assert not page.exception
    assert "there is no market file at" in page.info[0].value
    assert "pricing load FILE" in page.info[0].value
