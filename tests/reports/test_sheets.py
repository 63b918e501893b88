"""Words, charts and sheets of buying and selling: what they say is in the facts, and a page holds it."""

import re
import shutil
import subprocess
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from pricing.car_fields import FIELDS
from pricing.charts.buying import bids_chart, limits_chart
from pricing.condition.assessment import assess
from pricing.condition.checks import CONSTRUCTIONS, STATES
from pricing.condition.repairs import price_repairs
from pricing.errors import AppraisalError
from pricing.model.saved import load
from pricing.reports.buying_sheet import buying_sheet
from pricing.reports.selling_sheet import selling_sheet, value_words
from pricing.reports.sheet import PrintedSheet, sheet_html, sheet_pdf
from pricing.store.market import Market
from pricing.vocabulary import OPTION_CODES
from pricing.words.advertisement import advertisement
from pricing.words.buying import (
    basis_note,
    buying_sentences,
    gap_sentences,
    limit_sentences,
    verdict_sentence,
)
from tests.code_words import CODE_WORDS
from tests.condition.walks import catalogue, walk
from tests.decisions.test_buying import SCHEDULE, bought
from tests.decisions.test_selling import sold

SEEN = assess(walk("monocoque", "worn", shell_outer_sills="needs repair", body_paint="needs repair"))
SEEN = replace(SEEN, inspection=replace(SEEN.inspection, car={}))
COSTS = price_repairs(SEEN, catalogue(), country="GB", currency="EUR")
AUCTION = bought(asking=6000, channel="auction", schedule=SCHEDULE, transport=Decimal(300))
INSPECTED = bought(
    asking=6000, channel="auction", schedule=SCHEDULE, transport=Decimal(300), inspection=SEEN, costs=COSTS,
    condition_band=None, options=["wire_wheels", "servo_brakes"], odometer_km=98000.0, history_file=True,
)  # fmt: skip
BARE = {"condition_band": None, "condition_score": None, "history_file": True, "odometer_km": 98000.0}


@pytest.fixture(scope="module")
def sheets(small_market: Market) -> dict[str, PrintedSheet]:
    """The fullest of each kind."""
    model = load(small_market)
    facts = sold(small_market, model, car=BARE, inspection=SEEN, costs=COSTS)
    return {
        "buyer": buying_sheet(INSPECTED, None), "buyer, private": buying_sheet(bought(asking=9000), None),
        "seller": selling_sheet(facts, None),
        "seller, not inspected": selling_sheet(sold(small_market, model), None),
    }  # fmt: skip


def test_the_words_hold_the_limits_and_what_they_rest_on() -> None:
    walk_away, opening, apart = limit_sentences(bought(asking=9000))
    assert walk_away.startswith("Walk away above: EUR 7,500 (all-in). With 60% certainty")
    assert opening.startswith("Open at: EUR 6,")
    assert apart == "What is asked is EUR 1,500 above the walk-away price."
    assert "is not known from the records" in gap_sentences(bought(channel="dealer"))[0]
    assert "+10% to what cars sell for (+5% to +15%)" in gap_sentences(bought(asking=9900))[0]
    assert verdict_sentence(bought(asking=None, channel="auction")).startswith("No price is asked")
    assert verdict_sentence(bought(asking=9900)).startswith("EUR 9,900 is above what like cars fetch")
    assert "Walk away above: none." in " ".join(buying_sentences(bought(transport=Decimal(90_000))))
    assert basis_note(AUCTION).startswith("Limits are hammer prices in EUR at 30 June 2026")


def test_the_buyers_sheet_holds_verdict_limits_total_bids_questions_and_cautions() -> None:
    page = sheet_html(buying_sheet(INSPECTED, None))
    for words in (
        "Walk away above", "Open at", "what like cars fetch", "Until it stands ready it comes to",
        "What to say to the seller", "Bids and what they come to", "Questions still open",
        "licensed workshop", "local law", "example rate in force from 2026-01-01", "shown for their form",
    ):  # fmt: skip
        assert words in page
    assert "http" not in page
    for word in ("roadworthy", " safe"):
        assert word not in page.lower()


def test_what_was_typed_is_escaped() -> None:
    facts = bought(chassis_number="<script>")
    facts.valuation.car["variant"] = "<b>x"
    page = sheet_html(buying_sheet(facts, None))
    assert "<script>" not in page and "&lt;b&gt;x" in page


def test_no_code_word_reaches_a_sheet(sheets: dict[str, PrintedSheet]) -> None:
    for name, sheet in sheets.items():
        text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", sheet_html(sheet), flags=re.S)
        assert not CODE_WORDS.findall(text), name


def every_car() -> list[dict[str, Any]]:
    """Cars that together say every word of every closed list, all options, yes and no, and whole numbers."""
    lists = {name: part.words for name, part in FIELDS.items() if part.kind == "text" and part.words}
    answers = {name: (True, False) for name, part in FIELDS.items() if part.kind == "yes or no"}
    numbers = {"odometer_km": (98000.0, 0.0), "condition_score": (62.0, 100.0)}
    choices: dict[str, Any] = {**lists, **answers, **numbers, "options": (list(OPTION_CODES), [])}
    most = max(map(len, choices.values()))
    return [{name: said[place % len(said)] for name, said in choices.items()} for place in range(most)]


def test_no_code_word_reaches_a_sheet_whatever_is_said_of_the_car(
    small_market: Market, tmp_path: Path
) -> None:
    sale, lot = sold(small_market, load(small_market), inspection=SEEN, costs=COSTS, car=BARE), INSPECTED
    wrecks = [assess(replace(walk(kind, state), car={})) for kind in CONSTRUCTIONS for state in STATES[-2:]]
    texts = []
    for place, car in enumerate(every_car()):
        seen = [SEEN, *wrecks][place % (1 + len(wrecks))]
        said = replace(lot.valuation, car=lot.valuation.car | car)
        offered = replace(sale.valuation, car=sale.valuation.car | car)
        for sheet in (
            buying_sheet(replace(lot, valuation=said), None),
            selling_sheet(replace(sale, valuation=offered, inspection=seen), None),
        ):
            texts.append(re.sub(r"<style>.*?</style>|<[^>]+>", " ", sheet_html(sheet), flags=re.S))
            if shutil.which("pdftotext") is not None:
                (tmp_path / "sheet.pdf").write_bytes(sheet_pdf(sheet))
                told = ["pdftotext", "-layout", str(tmp_path / "sheet.pdf"), "-"]
                texts.append(subprocess.run(told, check=True, capture_output=True, text=True).stdout)
    assert any("servo brakes" in " ".join(text.split()) for text in texts)
    for text in texts:
        assert not CODE_WORDS.findall(text), text


def test_the_advertisement_states_what_was_seen_and_nothing_else(small_market: Market) -> None:
    car: dict[str, Any] = {
        "make": "Corvane", "model": "Six", "year": 1968, "options": ["overdrive"], "odometer_km": 98000.0,
        "matching_numbers": "documented", "history_file": True,
    }  # fmt: skip
    for seen in (None, SEEN):
        said = " ".join(advertisement(car, seen, "EUR 5,000"))
        assert "1968 Corvane Six." in said and "Asked: EUR 5,000." in said
        for word in ("overdrive", "98", "documented", "papers tell"):
            assert word not in said
    told = " ".join(advertisement(car, SEEN, None))
    assert "sills" in told and "Seen and found sound" not in told


def test_values_are_written_as_a_person_writes_them() -> None:
    assert value_words("year", 1966) == "1966"
    assert value_words("options", ("servo_brakes",)) == "servo brakes"
    assert value_words("history_file", False) == "no"


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", ["buyer", "buyer, private", "seller", "seller, not inspected"])
def test_a_pdf_is_one_page_in_black_and_white(
    sheets: dict[str, PrintedSheet], name: str, paper: str, tmp_path: Path
) -> None:
    written = sheet_pdf(sheets[name], paper)
    assert written.startswith(b"%PDF")
    if shutil.which("pdfinfo") is None:
        pytest.skip("no poppler-utils to read a PDF back with")
    (tmp_path / "sheet.pdf").write_bytes(written)
    told = subprocess.run(
        ["pdfinfo", tmp_path / "sheet.pdf"], check=True, capture_output=True, text=True
    ).stdout
    assert re.search(r"Pages:\s+1\n", told)
    assert re.search(r"Page size:\s+59\d" if paper == "a4" else r"Page size:\s+612 x 792", told)
    subprocess.run(
        ["pdftoppm", "-r", "50", tmp_path / "sheet.pdf", tmp_path / "page"], check=True, capture_output=True
    )
    (picture,) = tmp_path.glob("page*.ppm")
    pixels = picture.read_bytes().split(b"\n255\n", 1)[1]
    assert all(abs(pixels[place] - pixels[place + 1]) < 3 for place in range(0, len(pixels) - 3, 3 * 97))


def test_a_paper_that_is_none_is_refused(sheets: dict[str, PrintedSheet]) -> None:
    with pytest.raises(AppraisalError, match="no paper 'a5'; expected one of: a4, letter"):
        sheet_pdf(sheets["buyer"], "a5")


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no chromium to print with")
@pytest.mark.parametrize("size", ["A4", "letter"])
@pytest.mark.parametrize("name", ["buyer", "seller"])
def test_the_page_prints_on_one_sheet(
    sheets: dict[str, PrintedSheet], name: str, size: str, tmp_path: Path
) -> None:
    page = sheet_html(sheets[name]).replace("@page { ", f"@page {{ size: {size}; ")
    (tmp_path / "sheet.html").write_text(page, encoding="utf-8")
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    target = f"--print-to-pdf={tmp_path / 'sheet.pdf'}"
    subprocess.run(
        [
            "chromium",
            *flags,
            f"--user-data-dir={tmp_path / 'browser'}",
            target,
            f"file://{tmp_path / 'sheet.html'}",
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    text = (tmp_path / "sheet.pdf").read_bytes()
    assert text.count(b"/Type /Page\n") + text.count(b"/Type /Page ") == 1
    assert (b"[0 0 594" in text or b"[0 0 595" in text) if size == "A4" else b"[0 0 612" in text


def test_charts_are_drawn_from_the_facts() -> None:
    drawn = limits_chart(bought()).to_dict()
    assert "walk away" in str(drawn) and "asked" in str(drawn)
    assert "asked" not in str(limits_chart(bought(asking=None, channel="auction")).to_dict()["datasets"])
    bids = bids_chart(AUCTION).to_dict()
    assert len(next(iter(bids["datasets"].values()))) == AUCTION.bids.height
