"""The page that says where a car sits: its numbers are the library's, and its widgets move them."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from pricing.decisions.amounts import Conversion
from pricing.decisions.valuation import Valuation, value_car
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.words import sentences
from pricing.words.language.reader import about_words
from tests.cars import car_of
from tests.dashboards.pages import APP, WAIT, at_car, said, table
from tests.small_market import common_car


@pytest.fixture
def car(small_market: Market) -> dict[str, Any]:
    return common_car(small_market)


@pytest.fixture
def page(small_market: Market, monkeypatch: pytest.MonkeyPatch) -> Iterator[AppTest]:
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    yield opened()


def opened() -> AppTest:
    """The first page, the rest of what is asked of a car unfolded."""
    page = AppTest.from_file(APP, default_timeout=WAIT)
    page.session_state["car-more"] = True
    return page


def library(market: Market, car: dict[str, Any], asking: int | None = None) -> Valuation:
    return value_car(
        market, load(market), car_of(market, car), asking=None if asking is None else Decimal(asking)
    )


def test_it_asks_for_a_car_first(page: AppTest) -> None:
    page.run()
    assert not page.exception
    assert "Type which car it is" in page.info[0].value
    assert not page.metric


def test_its_numbers_are_the_librarys(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    at_car(page, car, asking=5000)
    assert not page.exception
    valuation = library(small_market, car, 5000)
    prices = [valuation.low, valuation.mid, valuation.high]
    assert [metric.value for metric in page.metric] == [about_words(p) for p in prices if p]
    assert all("EUR" in metric.label for metric in page.metric)
    words = said(page)
    assert sentences.range_sentence(valuation) in words
    assert sentences.standing_sentence(valuation) in words
    assert sentences.evidence_sentence(valuation) in words
    assert sentences.CAUTION in words


def test_its_tables_are_the_librarys(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    for folded in ("make_up", "bands", "sales_behind"):
        page.session_state[folded] = True
    at_car(page, car, asking=5000)
    valuation = library(small_market, car, 5000)
    terms, bands, sales = (
        table(page, "factor"),
        table(page, "condition_band", "mid"),
        table(page, "source_ref"),
    )
    assert terms["so_far"].iloc[-1] == pytest.approx(float(valuation.mid or 0), abs=0.01)
    assert list(bands["mid"]) == pytest.approx(valuation.bands["mid"].to_list(), rel=0.006)
    assert list(sales["price"]) == [round(price) for price in valuation.sales["price"]]


def test_a_moved_widget_moves_the_numbers(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    at_car(page, car | {"condition_band": "average"})
    page.radio(key="condition_band").set_value("top condition").run()
    assert not page.exception
    valuation = library(small_market, car | {"condition_band": "top condition"})
    assert page.metric[1].value == about_words(valuation.mid or 0)
    page.text_input(key="asking").set_value("7.000").run()
    asked = library(small_market, car | {"condition_band": "top condition"}, 7000)
    assert sentences.standing_sentence(asked) in said(page)
    page.multiselect(key="options").set_value(["overdrive", "servo brakes"]).run()
    options = {"condition_band": "top condition", "options": ["overdrive", "servo_brakes"]}
    assert page.metric[1].value == about_words(library(small_market, car | options).mid or 0)


def test_miles_are_turned_into_kilometres(page: AppTest, small_market: Market, car: dict[str, Any]) -> None:
    at_car(page, car)
    page.text_input(key="odometer").set_value("100")
    page.selectbox(key="odometer_unit").select("thousand miles").run()
    valuation = library(small_market, car | {"odometer_km": 160934.4})
    assert page.metric[1].value == about_words(valuation.mid or 0)


def test_a_car_is_found_by_a_few_letters_and_its_year(page: AppTest, car: dict[str, Any]) -> None:
    page.run()
    typed = f"{str(car['year'])[2:]} {car['make'].upper()} {car['model'].replace('o', 'ö')}"
    page.text_input(key="search").set_value(typed).run()
    assert not page.exception
    found = [page.session_state[name] for name in ("make", "model", "year")]
    assert found == [car["make"], car["model"], str(car["year"])]
    assert len(page.metric) == 3
    page.text_input(key="search").set_value("tractor").run()
    assert "Nothing like 'tractor' is on record" in said(page)
    assert len(page.metric) == 3


@pytest.mark.parametrize(
    ("typed", "amount"), [("4.650", 4650), ("4,650", 4650), ("4 650", 4650), ("€4.65k", 4650), ("4650", 4650)]
)
def test_a_price_is_typed_in_any_way(
    page: AppTest, small_market: Market, car: dict[str, Any], typed: str, amount: int
) -> None:
    page.query_params["asking"] = typed
    at_car(page, car)
    assert sentences.standing_sentence(library(small_market, car, amount)) in said(page)


@pytest.mark.parametrize("typed", ["cheap", "9999999999", "-5", "£"])
def test_a_bad_price_loses_the_verdict_alone(
    page: AppTest, small_market: Market, car: dict[str, Any], typed: str
) -> None:
    page.query_params["asking"] = typed
    at_car(page, car)
    assert page.metric[1].value == about_words(library(small_market, car).mid or 0)
    (error,) = page.error
    assert error.value[0].isupper() and error.value.endswith(".")
    assert "would sell for less" not in said(page)


def test_another_make_asks_for_a_model_again(
    page: AppTest, small_market: Market, car: dict[str, Any]
) -> None:
    at_car(page, car)
    others = [make for make in page.selectbox(key="make").options if make != car["make"]]
    page.selectbox(key="make").select(others[0]).run()
    assert not page.exception
    assert not page.metric
    assert "Type which car it is" in said(page)


def test_every_field_of_the_car_reaches_the_model(
    page: AppTest, small_market: Market, car: dict[str, Any]
) -> None:
    at_car(page, car)
    page.selectbox(key="channel").select("dealer")
    page.selectbox(key="matching_numbers").select("inspected")
    page.selectbox(key="history_file").select("yes")
    page.selectbox(key="drive_side").select("left").run()
    more = {"channel": "dealer", "matching_numbers": "inspected", "history_file": True, "drive_side": "left"}
    assert page.metric[1].value == about_words(library(small_market, car | more).mid or 0)


def test_a_car_that_cannot_be_is_answered_with_a_sentence(page: AppTest, car: dict[str, Any]) -> None:
    at_car(page, car | {"year": 2090})
    assert not page.exception
    assert "Year out of range: got 2090, expected 1885 to " in said(page)


def test_a_car_without_a_range_is_told_why(page: AppTest, car: dict[str, Any]) -> None:
    at_car(page, car | {"year": 1886})
    assert not page.exception
    assert not page.metric
    assert page.warning
    assert "No range can be given: year 1886 is far outside what is on record" in said(page)


def test_without_a_market_it_asks_for_records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRICING_MARKET", str(tmp_path / "absent.duckdb"))
    page = AppTest.from_file(APP, default_timeout=WAIT).run()
    assert not page.exception
    assert "There are no sale records yet. Load a file of yours" in page.info[0].value


def test_while_there_is_no_market_the_demo_is_shown_with_an_invitation(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, car: dict[str, Any]
) -> None:
    monkeypatch.setenv("PRICING_MARKET", str(tmp_path / "absent.duckdb"))
    monkeypatch.setenv("PRICING_DEMO_MARKET", str(small_market.path))
    page = at_car(AppTest.from_file(APP, default_timeout=WAIT), car)
    assert not page.exception
    assert "every make, car and sale in it is invented" in said(page)
    assert page.metric[1].value == about_words(library(small_market, car).mid or 0)
    assert not (tmp_path / "absent.duckdb").exists()


def test_comparable_sales_stand_on_the_distribution(
    page: AppTest, small_market: Market, car: dict[str, Any]
) -> None:
    at_car(page, car)
    indexed = ComparablesIndex.build(small_market.sales(), load(small_market), currency="EUR")
    found = find_comparables(indexed, car_of(small_market, car))
    assert f"The {found.table.height} rings are the nearest sales" in said(page)


def test_fields_that_few_need_come_when_they_are_unfolded_and_a_refused_car_shows_them(
    small_market: Market, monkeypatch: pytest.MonkeyPatch, car: dict[str, Any]
) -> None:
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    page = at_car(AppTest.from_file(APP, default_timeout=WAIT), car)
    assert page.metric and not page.selectbox
    page.session_state["car-more"] = True
    assert page.run().selectbox(key="make").value == car["make"]
    refused = at_car(AppTest.from_file(APP, default_timeout=WAIT), car | {"variant": "of no car"})
    assert refused.selectbox(key="variant").value is None


def test_names_from_records_are_shown_as_they_are(page: AppTest, car: dict[str, Any]) -> None:
    at_car(page, car | {"chassis_number": "![x](http://x.invalid/a) <b>"})
    assert not page.exception
    assert not [part.value for part in page.markdown if "![x](" in part.value or "<b>" in part.value]


def test_the_settings_show_the_range_in_a_second_currency(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, car: dict[str, Any]
) -> None:
    copy = tmp_path / "copy.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    Market.open(copy).keep_settings({"other_currency": "GBP", "distance_unit": "miles"})
    monkeypatch.setenv("PRICING_MARKET", str(copy))
    page = at_car(opened(), car)
    valuation = library(small_market, car)
    rate = Conversion.at("GBP", "EUR", valuation.as_of)
    mid = sentences.money_words(rate.from_base(valuation.mid or Decimal(0)), "GBP")
    assert f"half below {mid}, at the reference rate" in said(page)
    assert page.selectbox(key="odometer_unit").value == "km"  # a link says km when it says nothing
    fresh = opened().run()
    assert fresh.selectbox(key="odometer_unit").value == "miles"
