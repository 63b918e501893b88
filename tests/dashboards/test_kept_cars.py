"""The page of kept cars says what the library says, and keeps what is entered."""

from typing import Any

from pricing.decisions.kept_car import kept_car_today
from pricing.snapshot_source import source_of
from pricing.store.market import Market
from pricing.words.kept_cars import today_sentence
from tests.cars import car_of
from tests.dashboards.pages import a_page, said


def test_a_kept_car_is_shown_with_todays_range_and_priced_again(market: Market, car: dict[str, Any]) -> None:
    page = a_page("kept_cars").run()
    assert "You keep no car yet" in said(page)
    car_id = market.kept_cars.keep("the green one", car_of(market, car).to_dict(), "sills welded")
    market.kept_cars.keep("the red one", car_of(market, car | {"condition_band": "project"}).to_dict())
    page = a_page("kept_cars").run()
    assert not page.exception
    today = kept_car_today(source_of(market.path).newest(), market, market.kept_cars.one(car_id))
    assert today_sentence(today) in said(page) and "sills welded" in said(page)
    page.text_input(key=f"note-{car_id}").set_value("4.650").run()
    page.button(key=f"noted-{car_id}").click().run()
    assert market.kept_cars.prices(car_id)["amount"].to_list() == [4650]
    assert "The asking price of EUR 4,650" in said(page)
    page.checkbox(key=f"sure-{car_id}").check().run()
    page.button(key=f"delete-{car_id}").click().run()
    assert [kept.name for kept in market.kept_cars.all()] == ["the red one"]
