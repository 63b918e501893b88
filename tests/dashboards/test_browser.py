"""The dashboard in a real browser, on a desk and on a phone."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.words.sentences import money_words, range_sentence
from tests.cars import car_of
from tests.dashboards.browser import (
    DESKTOP,
    OVERFLOW,
    PHONE,
    no_errors,
    shot,
    wait_until_shown,
    window,
)
from tests.small_market import common_car

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_a_link_shows_the_librarys_range_and_nothing_scrolls_sideways(
    size: tuple[int, int], browser: Browser, base: str, query: str, browsed: Market, tmp_path: Path
) -> None:
    valuation = value_car(browsed, load(browsed), car_of(browsed, common_car(browsed)))
    with window(size, browser) as (opened, errors):
        opened.goto(f"{base}/?{query}")
        wait_until_shown(opened)
        shown = opened.get_by_test_id("stMain").inner_text()
        assert range_sentence(valuation) in " ".join(shown.split())
        assert opened.evaluate("window.innerWidth") == size[0]
        assert max(opened.evaluate(OVERFLOW)) <= 0
        assert opened.get_by_text("asking price of EUR 5,000").count() == 1
        shot(opened, tmp_path / "page.png")
    assert (tmp_path / "page.png").stat().st_size > 50_000
    assert no_errors(errors)


def test_a_choice_goes_into_the_address_and_a_reload_brings_it_back(
    browser: Browser, base: str, query: str, browsed: Market
) -> None:
    better = common_car(browsed) | {"condition_band": "top condition"}
    mid = value_car(browsed, load(browsed), car_of(browsed, better)).mid
    assert mid is not None
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(f"{base}/?{query}")
        wait_until_shown(opened)
        opened.get_by_text("Top condition", exact=True).click()
        opened.wait_for_url("**condition_band=top+condition**")
        words = money_words(mid, "EUR")
        opened.get_by_text(f"half below {words}").wait_for()
        opened.reload()
        wait_until_shown(opened)
        assert opened.get_by_text(f"half below {words}").count() == 1
