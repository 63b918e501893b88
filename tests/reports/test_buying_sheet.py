"""Words, charts and sheet of buying: what they say is in the facts, and a page holds it."""

import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import pytest

from pricing.charts.buying import bids_chart, limits_chart
from pricing.reports.buying_sheet import buying_page
from pricing.words.buying import asking_sentences, basis_note, buying_sentences, limit_sentences
from tests.decisions.test_buying import SCHEDULE, bought

AUCTION = bought(asking=6000, channel="auction", schedule=SCHEDULE, transport=Decimal(300))


def test_the_words_hold_the_limits_and_what_they_rest_on() -> None:
    walk_away, opening, apart = limit_sentences(bought(asking=9000))
    assert walk_away.startswith("Walk away above: EUR 7,500 (all-in). With 60% certainty")
    assert opening.startswith("Open at: EUR 6,")
    assert apart == "What is asked is EUR 1,500 above the walk-away price."
    assert "is not known from the records" in asking_sentences(bought(channel="dealer"))[1]
    assert "+10 % to what cars sell for (+5 % to +15 %)" in asking_sentences(bought(asking=9900))[1]
    assert asking_sentences(bought(asking=None, channel="auction"))[0].startswith("No price is asked")
    assert "Walk away above: none." in " ".join(buying_sentences(bought(transport=Decimal(90_000))))
    assert basis_note(AUCTION).startswith("Limits are hammer prices in EUR at 30 June 2026")


def test_the_sheet_holds_range_limits_bids_questions_and_cautions() -> None:
    page = buying_page(AUCTION)
    for words in (
        "Walk away above", "Open at", "Bids and what they come to", "Questions still open",
        "licensed workshop",
        "local law", "example rate in force from 2026-01-01", "shown for their form",
        "Not in it, because nothing was said: first repairs",
    ):  # fmt: skip
        assert words in page
    assert "http" not in page
    for word in ("roadworthy", " safe"):
        assert word not in page.lower()


def test_what_was_typed_is_escaped() -> None:
    facts = bought(chassis_number="<script>")
    facts.valuation.car["variant"] = "<b>x"
    page = buying_page(facts)
    assert "<script>" not in page and "&lt;b&gt;x" in page


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no chromium to print with")
def test_the_sheet_is_one_page_of_a4(tmp_path: Path) -> None:
    (tmp_path / "sheet.html").write_text(buying_page(AUCTION), encoding="utf-8")
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
    assert b"[0 0 594" in text or b"[0 0 595" in text


def test_charts_are_drawn_from_the_facts() -> None:
    drawn = limits_chart(bought()).to_dict()
    assert "walk away" in str(drawn) and "asked" in str(drawn)
    assert "asked" not in str(limits_chart(bought(asking=None, channel="auction")).to_dict()["datasets"])
    bids = bids_chart(AUCTION).to_dict()
    assert len(next(iter(bids["datasets"].values()))) == AUCTION.bids.height
