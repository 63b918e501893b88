"""The page of kept cars says what the library says, and keeps what is entered."""

import io
from datetime import date
from typing import Any

from PIL import Image
from streamlit.testing.v1 import AppTest

from pricing.decisions.kept_car import kept_car_today
from pricing.snapshot_source import source_of
from pricing.store.market import Market
from pricing.words.kept_cars import known_today, range_today
from tests.cars import car_of
from tests.dashboards.pages import a_page, said


def test_a_kept_car_is_shown_with_todays_range_and_priced_again(market: Market, car: dict[str, Any]) -> None:
    page = a_page("kept_cars").run()
    assert "You keep no car yet" in said(page)
    car_id = market.kept_cars.keep("the green one", car_of(market, car).to_dict(), "sills welded")
    market.kept_cars.keep("the red one", car_of(market, car | {"condition_band": "project"}).to_dict())
    page = a_page("kept_cars").run()
    assert not page.exception
    green = market.kept_cars.one(car_id)
    today = kept_car_today(source_of(market.path).newest(), green, market.kept_cars.prices(car_id))
    told = (range_today(today), known_today(today), "sills welded")
    assert all(words is not None and words in said(page) for words in told)
    page.text_input(key=f"note-{car_id}").set_value("4.650").run()
    page.button(key=f"noted-{car_id}").click().run()
    assert market.kept_cars.prices(car_id)["amount"].to_list() == [4650]
    assert "The asking price of EUR 4,650" in said(page)
    page.checkbox(key=f"sure-{car_id}").check().run()
    page.button(key=f"delete-{car_id}").click().run()
    assert [kept.name for kept in market.kept_cars.all()] == ["the red one"]


def test_a_kept_cars_photographs_links_and_sale_are_kept(market: Market, car: dict[str, Any]) -> None:
    store = market.kept_cars
    said = car_of(market, car).to_dict()
    green = store.keep("the green one", said, sheet="0" * 32)
    red = store.keep("the red one", said | {"condition_band": "project"})
    store.keep("a third", said | {"year": said["year"] + 1})
    written = io.BytesIO()
    Image.new("RGB", (40, 30), "olive").save(written, "PNG")
    page = a_page("kept_cars").run()
    page.file_uploader(key=f"photo-{green}").set_value(("sill.png", written.getvalue(), "image/png")).run()
    page.button(key=f"photo-kept-{green}").click().run()
    assert not page.exception and store.photo_numbers(green) == [1]
    page.button(key=f"unphoto-{green}-1").click().run()
    assert store.photo_numbers(green) == []
    assert [page.button(key=f"inspect-{one}").label for one in (green, red)] == [
        "Its inspection",
        "Inspect it",
    ]
    page.button(key=f"comparables-{red}").click().run()
    assert (page.session_state["subject"], page.session_state["condition_band"]) == ("the red one", "project")
    assert store.one("the red one").subject == "the red one"
    page.multiselect(key="compared").set_value(["a third", "the green one", "the red one"]).run()
    assert "<small>differs</small>" in said_in_html(page)
    page.text_input(key=f"sold-{red}").set_value("2 950").run()
    day = market.sales()["event_date"].max()
    assert isinstance(day, date)
    page.date_input(key=f"sold-on-{red}").set_value(day).run()
    page.button(key=f"sell-{red}").click().run()
    assert not page.exception
    record = store.one("the red one").sold_as
    sale = market.sales().filter(record_id=record)
    assert (sale["amount"].item(), sale["outcome"].item(), sale["event_date"].item()) == (2950, "sold", day)


def said_in_html(page: AppTest) -> str:
    """What a page shows as HTML of its own."""
    return " ".join(part.proto.body for part in page.get("html"))
