"""The dashboard in a real browser, on a desk and on a phone."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, expect
from streamlit.proto.BackMsg_pb2 import BackMsg
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect
from websockets.typing import Origin, Subprotocol

from dashboards.recording.records import LARGEST_PASTED
from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.operations.configuration import Configuration
from pricing.store.market import Market
from pricing.words.sentences import money_words, range_sentence
from tests.cars import car_of
from tests.dashboards.browser import (
    DESKTOP,
    OVERFLOW,
    PATIENCE,
    PHONE,
    no_errors,
    shot,
    wait_until_shown,
    wait_until_still,
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


@pytest.mark.soak
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


def test_a_phone_has_a_verdict_after_five_taps_and_two_words_and_back_restores(
    browser: Browser, base: str, browsed: Market
) -> None:
    car = common_car(browsed)
    taps = 0
    with window(PHONE, browser) as (opened, errors):

        def tap(part: Locator) -> None:
            nonlocal taps
            taps += 1
            part.click()

        opened.goto(base)
        tap(opened.get_by_label("Which car?"))
        opened.keyboard.type(f"{car['year']}{car['make']}{car['model']}".replace(" ", ""), delay=20)
        opened.get_by_test_id("stMetric").first.wait_for()
        wait_until_still(opened)
        tap(opened.get_by_text("Average", exact=True))
        wait_until_still(opened)
        price = opened.get_by_role("textbox", name="Price asked (EUR, all-in)")
        tap(price)
        opened.keyboard.type("4.650")
        taps += 1
        opened.keyboard.press("Enter")
        verdict = opened.get_by_text("The asking price of EUR 4,650")
        verdict.wait_for()
        assert taps <= 5
        wait_until_shown(opened)
        known = opened.get_by_text("on record").first.bounding_box()
        assert known is not None and known["y"] + known["height"] <= 1.5 * PHONE[1]
        before = opened.evaluate("history.length")
        opened.get_by_role("link", name="I may sell it").click()
        opened.get_by_text("1. Car").wait_for()
        wait_until_still(opened)
        assert opened.evaluate("history.length") == before + 1
        opened.go_back()
        verdict.wait_for()
        assert price.input_value() == "4.650"
        opened.go_back()
        expect(price).to_have_value("")
        expect(verdict).to_have_count(0)
        opened.go_forward()
        verdict.wait_for()
    assert no_errors(errors)


def test_a_page_s_line_takes_what_can_be_typed_and_closes_at_more(base: str) -> None:
    """RFC 6455, 7.4.1: 1009 is a message too large."""
    most = Configuration().largest_message
    assert most > LARGEST_PASTED * 3, "three bytes of UTF-8 for what a browser counts as one character"
    for size, closed in ((most - 1_000, None), (most + 1_000, 1009)):
        said = BackMsg()
        said.rerun_script.query_string = "x" * size
        with connect(
            f"{base.replace('http', 'ws', 1)}/_stcore/stream", origin=Origin(base),
            subprotocols=[Subprotocol("streamlit")], open_timeout=PATIENCE / 1000, close_timeout=1,
            max_size=None,
        ) as line:  # fmt: skip
            line.send(said.SerializeToString())
            if closed is None:
                assert line.recv(PATIENCE / 1000)
            else:
                with pytest.raises(ConnectionClosed) as ended:
                    while True:
                        line.recv(PATIENCE / 1000)
                assert ended.value.rcvd is not None and ended.value.rcvd.code == closed
