"""Every page in a real browser: no serious fault of access, nothing sideways, the keyboard alone, two at
once."""

import os
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from pricing.condition.inspection import Inspection
from pricing.operations import drafts
from pricing.store.market import Market
from tests.dashboards.browser import (
    DARK,
    DESKTOP,
    FAULTS,
    OVERFLOW,
    PHONE,
    chromium,
    no_errors,
    page,
    served,
    wait_until_shown,
    wait_until_still,
    window,
)
from tests.ports import free_port
from tests.small_market import common_car, write_sales

pytestmark = pytest.mark.browser

PAGES = (
    "",
    "kept",
    "inspect",
    "mend",
    "comparables",
    "buy",
    "sell",
    "appraisals",
    "market",
    "opinions",
    "records",
    "scores",
    "settings",
)

OF_COLOURS: Final[dict[str, Any]] = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
}
"""What may differ of a page that only changes its colours."""

OF_THE_FRAMEWORK: Final = ("presentation-role-conflict",)
"""Minor, and not the pages' own: Streamlit names the area that files are dropped on, and gives it no role."""

HIT = "window.hit=1"
HOSTILE = (
    f"make=<script>{HIT}</script>",
    f"model=<img src=x onerror={HIT}>",
    f"make=[go](javascript:{HIT})",
    f"variant='><svg onload={HIT}>",
    f"sheet=javascript:{HIT}",
    "make=$x^2$ :red[x] `x` |a|b|",
    "make=" + "A" * 5_000,
    "&".join(f"options=o{place}" for place in range(400)),
    "make=%00&model=%1b[2J",
    "make=%ff%fe&model=%c0%ae",
    "make=%E2%80%AEegdeS",
    "year=99999999999999999999",
    "year=-1&odometer=-1",
    "year=0x7ae&year=1966&year=x",
    "asking=NaN&offer_asking=inf",
    "asking=1e999&odometer=1e999",
    "asking=%D9%A1%D9%A2%D9%A3",
    "sheet=../../../etc/passwd",
    "subject=' OR 1=1 --&least='; DROP TABLE x",
    "currency=ZZZ&odometer_unit=parsecs&condition_band=best",
)
"""What may stand behind a page's address."""


def visit(opened: Page, where: str) -> None:
    opened.goto(where)
    opened.get_by_test_id("stMain").get_by_role("heading", level=1).wait_for()
    wait_until_still(opened)
    expect(opened.locator(".st-key-long_work")).to_have_count(0)  # its outcome is to be seen
    wait_until_still(opened)


def half_done_sheet(market: Market) -> str:
    """The name of an inspection sheet of the common car, some of it filled in."""
    car = common_car(market)
    walk = Inspection.start("monocoque", {name: car[name] for name in ("make", "model", "year")})
    for check in walk.sheet.checks[5:40]:
        walk = walk.record(check.id, "needs repair")
    name = drafts.new_name()
    drafts.keep_sheet(market.path, name, walk)
    return name


def walk(opened: Page, base: str, query: str) -> list[tuple[str, str, str, list[str]]]:
    """What axe finds on every page in light and dark; nothing may scroll sideways."""
    axe, found = Axe(), []
    for name in PAGES:
        visit(opened, f"{base}/{name}?{query}")
        assert max(opened.evaluate(OVERFLOW)) <= 0, name
        if name == "inspect":
            expect(opened.get_by_role("img", name="Where to look on the car")).to_be_visible()
        violations = axe.run(opened, options=FAULTS).response["violations"]
        met = opened.evaluate(DARK)  # half the pages are met in the dark, which saves them a change of theme
        opened.emulate_media(color_scheme="light" if met else "dark")
        opened.wait_for_function(f"({DARK}) === {str(not met).lower()}")
        wait_until_still(opened)
        violations += axe.run(opened, options=OF_COLOURS).response["violations"]
        found += [
            (name, part["id"], part["impact"], [node["html"][:160] for node in part["nodes"][:3]])
            for part in violations
            if part["id"] not in OF_THE_FRAMEWORK
        ]
    return found


def test_no_page_has_a_fault_of_access_or_scrolls_sideways_on_a_phone(
    browser: Browser, base: str, query: str, browsed: Market
) -> None:
    with window(PHONE, browser) as (opened, errors):
        assert walk(opened, base, f"{query}&sheet={half_done_sheet(browsed)}") == []
    assert no_errors(errors)


@pytest.mark.soak
@pytest.mark.parametrize("size", [(1440, 900), (720, 450)])
def test_no_page_has_a_fault_of_access_on_a_desk_or_at_twice_the_size(
    size: tuple[int, int], browser: Browser, base: str, query: str, browsed: Market
) -> None:
    """A window of 1440 x 900 that is zoomed to 200 % lays out as one of half its width and height (WCAG 2.2,
    1.4.4 and 1.4.10)."""
    with window(size, browser) as (opened, errors):
        assert walk(opened, base, f"{query}&sheet={half_done_sheet(browsed)}") == []
    assert no_errors(errors)


def test_a_screen_reader_meets_question_answer_and_picture_in_this_order(
    browser: Browser, base: str, query: str
) -> None:
    with window(PHONE, browser) as (opened, _):
        opened.goto(f"{base}/?{query}")
        wait_until_shown(opened)
        read = opened.get_by_test_id("stMain").aria_snapshot()
    parts = (
        'heading "Where does this car sit?" [level=1]',
        'searchbox "Which car?"',
        'radiogroup "Which of these looks like it?"',
        'textbox "Price asked (EUR, all-in)"',
        "More about the car",
        "The asking price of EUR 5,000",
        "paragraph: low (EUR)",
        "paragraph: mid (EUR)",
        "paragraph: high (EUR)",
        "on record",
        "The columns show how many of 100 such cars",
        "The picture as a table",
        'heading "What is it for?" [level=2]',
        'link "I may buy it"',
    )
    places = [read.find(part) for part in parts]
    assert -1 not in places, [part for part, place in zip(parts, places, strict=True) if place < 0]
    assert places == sorted(places)


def test_the_keyboard_alone_prices_a_car_and_goes_to_another_page(
    browser: Browser, base: str, query: str
) -> None:
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(f"{base}/?{query}")
        wait_until_shown(opened)

        def reach(role: str, name: str) -> None:
            for _ in range(80):
                opened.keyboard.press("Tab")
                focused = opened.get_by_role(role, name=name, exact=True)  # type: ignore[arg-type]
                if focused.count() and focused.first.evaluate("part => part === document.activeElement"):
                    return
            raise AssertionError(f"the keyboard does not reach {role} {name}")

        reach("textbox", "Price asked (EUR, all-in)")
        opened.keyboard.press("Control+A")
        opened.keyboard.type("6000")
        opened.keyboard.press("Enter")
        opened.get_by_text("asking price of EUR 6,000").wait_for()
        opened.reload()
        wait_until_shown(opened)
        reach("link", "Market")
        opened.keyboard.press("Enter")
        opened.get_by_role("heading", name="Market", level=1).wait_for()
        assert "asking=6000" in opened.url


@pytest.mark.soak
def test_no_address_makes_a_page_fail_act_or_load_from_elsewhere(browser: Browser, base: str) -> None:
    """Twenty addresses by every page; `SOAK_ADDRESSES` takes fewer of them."""
    visited, asked_for = 0, list[str]()
    with window(DESKTOP, browser) as (opened, errors):
        opened.on("dialog", lambda dialog: errors.append(f"dialog {dialog.message}"))
        opened.on("request", lambda asked: asked_for.append(asked.url))
        for query in HOSTILE[: int(os.environ.get("SOAK_ADDRESSES", len(HOSTILE)))]:
            for name in PAGES:
                opened.goto(f"{base}/{name}?{query}")
                opened.get_by_test_id("stMain").get_by_role("heading", level=1).first.wait_for()
                wait_until_still(opened)
                where = f"{name}?{query[:60]}"
                assert opened.get_by_test_id("stException").count() == 0, where
                assert not re.search(r"F-[0-9a-f]{8}", opened.locator("body").inner_text()), where
                assert opened.evaluate("window.hit") is None, where
                assert no_errors(errors), (where, errors)
                visited += 1
    print(f"{visited} pages at hostile addresses")
    assert [url for url in asked_for if not url.startswith((base, "data:", "blob:"))] == []


@pytest.mark.soak
def test_two_browsers_and_a_load_from_the_command_line_at_once(
    query: str, small_market: Market, tmp_path: Path
) -> None:
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    with served(copy, free_port()) as base:
        look_and_load(base.rstrip("/"), query, Market.open(copy), tmp_path)


def look_and_load(base: str, query: str, browsed: Market, tmp_path: Path) -> None:
    more = tmp_path / "more.parquet"
    write_sales(more, rows=900)
    program = str(Path(sys.executable).with_name("pricing"))
    before = browsed.batches().height

    def look_around(size: tuple[int, int]) -> list[str]:
        with page(size, chromium()) as (opened, errors):
            for name in ("", "comparables", "records"):
                visit(opened, f"{base}/{name}?{query}")
                assert opened.get_by_test_id("stException").count() == 0
                assert opened.get_by_test_id("stAlertContentError").count() == 0
        return errors

    with ThreadPoolExecutor(2) as pool:
        looking = [pool.submit(look_around, size) for size in (DESKTOP, PHONE)]
        loaded = subprocess.run(
            [program, "load", str(more), "--market", str(browsed.path)],
            capture_output=True,
            text=True,
            check=False,
        )
        errors = [error for looked in looking for error in looked.result()]
    assert loaded.returncode == 0, loaded.stderr
    assert browsed.batches().height == before + 1
    assert no_errors(errors)
