"""A buyer, a seller and a valuer, each from the first page to the last, in a real browser, on a desk and a
phone."""

import re
from dataclasses import fields
from decimal import Decimal
from pathlib import Path

import pytest
from playwright.sync_api import Browser, FilePayload, Page, expect

from pricing.appraisal.record.record import with_answer
from pricing.appraisal.record.sections import SECTIONS
from pricing.appraisal.register import listed, read, revise
from pricing.condition.assessment import assess
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import selling_evidence
from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.operations import drafts
from pricing.store.market import Market
from pricing.words.buying import limit_sentence
from pricing.words.selling import auction_sentences
from pricing.words.sentences import range_sentence
from tests.cars import car_of
from tests.dashboards.browser import (
    DESKTOP,
    OVERFLOW,
    PHONE,
    choose,
    go_to,
    no_errors,
    wait_until_still,
    window,
)
from tests.drawn_photographs import drawn_photograph
from tests.small_market import common_car

pytestmark = pytest.mark.browser

_OTHER = pytest.mark.soak
"""The size that a journey is made at less often is walked with the soaks."""

ON_A_PHONE = pytest.mark.parametrize(
    "size", [pytest.param(DESKTOP, marks=_OTHER), PHONE], ids=["desktop", "phone"]
)
AT_A_DESK = pytest.mark.parametrize(
    "size", [DESKTOP, pytest.param(PHONE, marks=_OTHER)], ids=["desktop", "phone"]
)
SHEET = re.compile("sheet=([0-9a-f]{32})")


def shows(opened: Page, sentence: str) -> None:
    expect(opened.get_by_test_id("stMain")).to_contain_text(" ".join(sentence.split()))


def fits(opened: Page) -> None:
    """Nothing scrolls sideways."""
    wait_until_still(opened)
    assert max(opened.evaluate(OVERFLOW)) <= 0


@ON_A_PHONE
def test_a_buyer_prices_inspects_and_leaves_with_a_sheet(
    size: tuple[int, int], browser: Browser, base: str, query: str, browsed: Market
) -> None:
    car = common_car(browsed)
    with window(size, browser) as (opened, errors):
        opened.goto(f"{base}/?{query}")
        shows(opened, range_sentence(value_car(browsed, load(browsed), car_of(browsed, car))))
        fits(opened)
        go_to(opened, "Inspect")
        choose(opened, "How is it built?", "monocoque")
        opened.get_by_role("button", name="Start").click()
        opened.get_by_text("every finding is kept as you make it").wait_for()
        expect(opened).to_have_url(SHEET)
        (name,) = SHEET.findall(opened.url)
        choose(opened, "Area", "structure")
        checks = [
            check for check in drafts.open_sheet(browsed.path, name).sheet.checks if check.area == "structure"
        ]
        for check in checks[:3]:
            pills = opened.get_by_role("radiogroup", name=f"{check.title}: found", exact=True)
            pills.get_by_role("radio", name="needs repair").click()
            wait_until_still(opened)
        opened.get_by_text(f"3 of {len(checks)} seen here").wait_for()
        fits(opened)
        opened.reload()
        opened.get_by_text(f"3 of {len(checks)} seen here").wait_for()
        kept = drafts.open_sheet(browsed.path, name)
        assert [kept.state(check.id) for check in checks[:4]] == ["needs repair"] * 3 + ["not seen"]
        opened.get_by_role("radio", name="What it says").click()
        result = assess(kept)
        opened.get_by_role("button", name=f"Price the car at a score of {result.score:.0f}").click()
        opened.get_by_text("is now that of this sheet").wait_for()
        fits(opened)
        go_to(opened, "Buy")
        opened.get_by_role("textbox", name="Price asked (EUR, all-in)").fill("4000")
        opened.keyboard.press("Enter")
        wait_until_still(opened)
        bare = car | {"condition_band": None}
        facts = buy_car(
            browsed,
            load(browsed),
            car_of(browsed, bare),
            BuyerTerms("EUR", 0.6),
            asking=Decimal(4000),
            inspection=result,
        )
        shows(opened, limit_sentence(facts, facts.walk_away, "Walk away above"))
        fits(opened)
        with opened.expect_download() as given:
            opened.get_by_role("button", name="The sheet to take along").click()
        assert "<h1>" in Path(given.value.path()).read_text(encoding="utf-8")
        go_to(opened, "Mend or buy better")
        opened.get_by_text("Repairs:").first.wait_for()
        fits(opened)
    assert no_errors(errors)


@pytest.mark.soak
@AT_A_DESK
def test_a_seller_sets_a_reserve(
    size: tuple[int, int], browser: Browser, base: str, query: str, browsed: Market
) -> None:
    model = load(browsed)
    with window(size, browser) as (opened, errors):
        opened.goto(f"{base}/?{query}")
        wait_until_still(opened)
        go_to(opened, "Sell")
        opened.get_by_text("How soon the money is wanted").first.click()
        wait_until_still(opened)
        opened.get_by_role("textbox", name="Worth to you if you keep it (EUR)").fill("2500")
        opened.keyboard.press("Tab")
        wait_until_still(opened)
        opened.get_by_role("textbox", name="Reserve that you think of (EUR)").fill("3000")
        opened.keyboard.press("Tab")
        terms = SellerTerms("EUR", Decimal(2500), Decimal(3000), asking=Decimal(5000))
        evidence = selling_evidence(browsed, model)
        facts = sell_car(browsed, model, car_of(browsed, common_car(browsed)), terms, evidence=evidence)
        for sentence in auction_sentences(facts):
            shows(opened, sentence)
        expect(opened).to_have_url(re.compile("reserve=3000"))
        fits(opened)
    assert no_errors(errors)


@pytest.mark.soak
@AT_A_DESK
def test_a_valuer_builds_and_downloads_an_appraisal(
    size: tuple[int, int], browser: Browser, base: str, query: str, browsed: Market
) -> None:
    before = set(listed(browsed)["appraisal_id"])
    with window(size, browser) as (opened, errors):
        opened.goto(f"{base}/comparables?{query}")
        opened.get_by_text("comparable sales (").first.wait_for()
        fits(opened)
        go_to(opened, "Appraisals")
        choose(opened, "Kind", "model report")
        choose(opened, "Level of the market", "private")
        opened.get_by_role("textbox", name="Who does this (goes into the log)").fill("A. Valuer")
        opened.keyboard.press("Tab")
        opened.get_by_role("button", name="Enter it and freeze the evidence").click()
        opened.get_by_text("its evidence is frozen").wait_for()
        (name,) = set(listed(browsed)["appraisal_id"]) - before
        opened.get_by_role("textbox", name="Who the valuation is for").fill("Client Alpha")
        opened.get_by_role("button", name="Keep these answers").click()
        opened.get_by_text("is revised; the revision before is kept").wait_for()
        assert read(browsed, name).record.assignment.client == "Client Alpha"
        fits(opened)
        photograph(opened, drawn_photograph((900, 600), orientation=6), browsed, name)
        fill_the_rest(browsed, name)
        opened.reload()
        with opened.expect_download() as given:
            opened.get_by_role("button", name="Download the PDF").click()
        content = Path(given.value.path()).read_bytes()
        assert content.startswith(b"%PDF") and b"/DCTDecode" in content
        fits(opened)
    assert no_errors(errors)


def photograph(opened: Page, content: bytes, market: Market, name: str) -> None:
    """Add a photograph on the page, see it, and take its original away as it came."""
    opened.get_by_text("Photographs", exact=True).click()
    opened.get_by_text("No photographs yet.").wait_for()
    sent: FilePayload = {"name": "front.jpg", "mimeType": "image/jpeg", "buffer": content}
    opened.locator("input[type=file]").first.set_input_files([sent])
    opened.get_by_role("textbox", name="What they show").fill("From the front")
    opened.get_by_role("button", name="Keep the photographs").click()
    opened.get_by_text("is revised: 1 photograph added").wait_for()
    (shot,) = read(market, name).record.photographs
    assert (shot.caption, shot.cover, shot.removed[0]) == ("From the front", True, "place")
    seen = opened.get_by_alt_text("Photograph 1. From the front")
    seen.wait_for()
    assert seen.evaluate("picture => picture.naturalWidth > picture.naturalHeight")
    fits(opened)
    with opened.expect_download() as given:
        opened.get_by_role("button", name="Download the original").click()
    assert Path(given.value.path()).read_bytes() == content


def fill_the_rest(market: Market, name: str) -> None:
    """Answer by the library what the page would ask one by one."""
    entry = read(market, name)
    record = entry.record
    for section, kind in SECTIONS.items():
        for part in fields(kind):
            asked, said = part.metadata, getattr(getattr(record, section), part.name)
            wanted = (
                asked["kind"] in ("text", "texts") and not said and section in ("assignment", "conditions")
            )
            if wanted and not asked["allowed"]:
                record = with_answer(record, f"{section}.{part.name}", "as asked")
    record = with_answer(record, "assignment.basis", "market value")
    record = with_answer(record, "assignment.report_date", "2026-11-02")
    record = with_answer(record, "inspection.manner", "not inspected")
    record = with_answer(record, "inspection.extent", "the car was not seen")
    for identity in ("make", "model", "variant", "year"):
        record = with_answer(record, f"subject.established.{identity}", "from the papers")
    revise(market, entry, record, entry.evidence, by="A. Valuer", reason="the rest")
