"""The journeys of a buyer, a seller and a valuer with the keyboard alone (WCAG 2.2, 2.1.1), in a real
browser."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from pricing.appraisal.register import listed, read
from pricing.operations import drafts
from pricing.store.market import Market
from tests.dashboards.browser import DESKTOP, wait_until_still, window
from tests.dashboards.test_journeys import SHEET

pytestmark = pytest.mark.browser

MOST_STEPS = 150


def reach(opened: Page, role: str, name: str, key: str = "Tab") -> None:
    """Press a key until the part of that role and name has the focus."""
    wait_until_still(opened)
    wanted = opened.get_by_role(role, name=name, exact=True)  # type: ignore[arg-type]
    for _ in range(MOST_STEPS):
        opened.keyboard.press(key)
        if wanted.evaluate_all("parts => parts.includes(document.activeElement)"):
            return
    raise AssertionError(f"the keyboard does not reach {role} {name!r}")


def press(opened: Page, role: str, name: str, key: str = "Tab") -> None:
    reach(opened, role, name, key)
    opened.keyboard.press("Enter")
    wait_until_still(opened)


def fill(opened: Page, role: str, name: str, text: str) -> None:
    reach(opened, role, name)
    opened.keyboard.press("Control+A")
    opened.keyboard.type(text)
    opened.keyboard.press("Enter")
    wait_until_still(opened)


def choose(opened: Page, field: str, option: str) -> None:
    reach(opened, "combobox", field)
    opened.keyboard.type(option)
    opened.get_by_role("option", name=option, exact=True).wait_for()
    opened.keyboard.press("Enter")
    wait_until_still(opened)


def pick(opened: Page, group: str, choice: str) -> None:
    """One of several choices side by side: to the group by Tab, to the choice by the arrow."""
    wait_until_still(opened)
    radios = opened.get_by_role("radiogroup", name=group, exact=True).get_by_role("radio")
    wanted = radios.and_(opened.get_by_role("radio", name=choice, exact=True))
    for _ in range(MOST_STEPS):
        inside = radios.evaluate_all("parts => parts.includes(document.activeElement)")
        if wanted.evaluate_all("parts => parts.includes(document.activeElement)"):
            opened.keyboard.press("Space")
            expect(wanted).to_be_checked()
            wait_until_still(opened)
            return
        opened.keyboard.press("ArrowRight" if inside else "Tab")
    raise AssertionError(f"the keyboard does not reach {choice!r} of {group!r}")


def go_to(opened: Page, name: str) -> None:
    """By the pages at the top: back to them, or on from the top where nothing has the focus."""
    fresh = opened.evaluate("document.activeElement === document.body")
    press(opened, "link", name, "Tab" if fresh else "Shift+Tab")
    opened.get_by_role("heading", level=1).wait_for()


@pytest.mark.soak
def test_a_buyer_needs_no_mouse(browser: Browser, base: str, query: str, browsed: Market) -> None:
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(f"{base}/?{query}")
        fill(opened, "textbox", "Price asked (EUR, all-in)", "4000")
        opened.get_by_text("asking price of EUR 4,000").wait_for()
        go_to(opened, "Inspect")
        choose(opened, "How is it built?", "monocoque")
        press(opened, "button", "Start")
        expect(opened).to_have_url(SHEET)
        (name,) = SHEET.findall(opened.url)
        first = drafts.open_sheet(browsed.path, name).sheet.checks[0]
        pick(opened, f"{first.title}: found", "needs repair")
        opened.get_by_text("1 of").first.wait_for()
        assert drafts.open_sheet(browsed.path, name).state(first.id) == "needs repair"
        pick(opened, "Part of the sheet", "What it says")
        opened.get_by_text("condition score").first.wait_for()
        go_to(opened, "Buy")
        opened.get_by_text("walk away above").first.wait_for()
        with opened.expect_download() as given:
            press(opened, "button", "The sheet to take along (page to print)", "Shift+Tab")  # from the end
        assert "<h1>" in Path(given.value.path()).read_text(encoding="utf-8")


@pytest.mark.soak
def test_a_seller_needs_no_mouse(browser: Browser, base: str, query: str) -> None:
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(f"{base}/position?{query}")  # as somebody types it
        opened.get_by_text("asking price of EUR 5,000").wait_for()
        assert opened.get_by_text("Page not found").count() == 0
        go_to(opened, "Sell")
        fill(opened, "textbox", "Worth to you if you keep it (EUR)", "2500")
        fill(opened, "textbox", "Reserve that you think of (EUR)", "3000")
        opened.get_by_role("heading", name="What a sale leaves you").wait_for()
        expect(opened).to_have_url(re.compile("own_value=2500.*reserve=3000"))


@pytest.mark.soak
def test_a_valuer_needs_no_mouse(browser: Browser, base: str, query: str, browsed: Market) -> None:
    before = set(listed(browsed)["appraisal_id"])
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(f"{base}/?{query}")
        go_to(opened, "Appraisals")
        fill(opened, "textbox", "Who does this (goes into the log)", "A. Valuer")
        choose(opened, "Kind", "model report")
        choose(opened, "Level of the market", "private")
        press(opened, "button", "Enter it and freeze the evidence")
        opened.get_by_text("its evidence is frozen").wait_for()
        (name,) = set(listed(browsed)["appraisal_id"]) - before
        entered = read(browsed, name).record.assignment
        assert (entered.kind, entered.market_level) == ("model report", "private")
        reach(opened, "textbox", "Who the valuation is for")
        opened.keyboard.type("Client Alpha")
        press(opened, "button", "Keep these answers")
        opened.get_by_text("is revised; the revision before is kept").wait_for()
        assert read(browsed, name).record.assignment.client == "Client Alpha"
