import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from pricing.condition.assessment import assess
from pricing.condition.budget import repair_budget
from pricing.condition.checks import CONSTRUCTIONS, NOT_SEEN, STATES
from pricing.condition.inspection import Change, Inspection
from pricing.condition.inspection_files import open_inspection, to_json
from pricing.condition.repairs import price_repairs
from pricing.reports.inspection_sheet import inspection_page
from pricing.words.language.locale import LocaleWords
from tests.condition.walks import CAR, catalogue, walk
from tests.dashboards.browser import PHONE, chromium, page

EVIL = "<script>alert(1)</script>"


class Tags(HTMLParser):
    """Open tags by name, with their attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


@pytest.mark.parametrize("construction", CONSTRUCTIONS)
def test_every_check_has_a_box_for_every_state_and_one_is_marked(construction: str) -> None:
    found = Inspection.start(construction, CAR).record("body_paint", "worn")
    boxes = [given for tag, given in Tags(inspection_page(found)).found if given.get("type") == "radio"]
    assert len(boxes) == len(found.sheet.checks) * (len(STATES) + 1)
    marked = {given["name"]: given["value"] for given in boxes if "checked" in given}
    assert marked.pop("state-body_paint") == "worn"
    assert set(marked.values()) == {NOT_SEEN}
    assert len(marked) == len(found.sheet.checks) - 1


def test_the_page_says_where_to_look_what_to_do_and_what_it_means() -> None:
    html = inspection_page(walk())
    for check in walk().sheet.checks:
        for text in (check.where, check.act, check.bad_sign):
            assert text.split("'")[0] in html


def test_cautions_stand_on_the_blank_page_and_on_the_result() -> None:
    blank = inspection_page(walk())
    assert "not a test of whether the car may be driven" in blank
    for words in ("jack alone", "perforated tanks", "Isolate the battery", "asbestos", "Rubber ages"):
        assert words in blank
    result = inspection_page(walk(), assess(walk()))
    assert result.count("jack alone") > blank.count("jack alone")
    assert not re.search(r"roadworthy|\bsafe\b", result, re.IGNORECASE)


def test_a_result_and_a_budget_are_told_in_words() -> None:
    found = walk(chassis_side_rails="needs repair", papers_title="structural or missing")
    result = assess(found)
    budget = repair_budget(price_repairs(result, catalogue(), country="DE"))
    html = inspection_page(found, result, budget)
    for words in ("Condition score 74 of 100, average", "What holds it there", "What would lift it",
                  "Identity and papers to settle", "Repairs: EUR", "Invented demo figures"):  # fmt: skip
        assert words in html
    assert "Repairs:" not in inspection_page(found, result)


def test_nothing_that_was_typed_becomes_markup() -> None:
    found = Inspection.start("monocoque", {"make": EVIL, "model": '"><img src=x>'})
    found = replace(
        found.record("body_paint", "worn", note=EVIL, photo="a'\">.jpg", seen_by=EVIL),
        changes=(Change(EVIL, done="badly", done_by=EVIL),),
    )
    result = assess(found)
    tags = Tags(
        inspection_page(found, result, repair_budget(price_repairs(result, catalogue(), country="DE")))
    )
    assert [tag for tag, _ in tags.found].count("script") == 2
    assert "img" not in {tag for tag, _ in tags.found}
    notes = [given["value"] for _, given in tags.found if given.get("name") == "note-body_paint"]
    assert notes == [EVIL]


def test_the_inspection_within_the_page_is_the_inspection(tmp_path: Path) -> None:
    found = walk().record("body_paint", "worn", note=f"{EVIL} </script>")
    html = inspection_page(found)
    inside = re.search(r'id="inspection">(.*?)</script>', html, re.DOTALL)
    assert inside is not None
    assert json.loads(inside[1]) == json.loads(to_json(found))
    (tmp_path / "car.json").write_text(inside[1], "utf-8")
    assert open_inspection(tmp_path / "car.json") == found


def test_the_page_needs_no_network() -> None:
    assert not re.search(r"https?://|@import|url\(", inspection_page(walk()))


@pytest.mark.browser
def test_the_page_can_be_filled_in_and_saved_in_a_browser(tmp_path: Path) -> None:
    begun = Inspection.start("monocoque", CAR)
    (tmp_path / "car.html").write_text(inspection_page(begun), "utf-8")
    with page(PHONE, chromium()) as (opened, faults):
        opened.goto((tmp_path / "car.html").as_uri())
        opened.check("input[name='state-body_paint'][value='worn']")
        opened.fill("input[name='note-body_paint']", "dull =")
        opened.fill("#seen_by", "A. Person")
        opened.fill("#seen_on", "2026-05-01")
        assert opened.inner_text("#count") == f"1 of {len(begun.sheet.checks)} seen"
        assert opened.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
        opened.reload()
        assert opened.is_checked("input[name='state-body_paint'][value='worn']")
        with opened.expect_download() as download:
            opened.click("button[type=submit]")
        download.value.save_as(tmp_path / "car.json")
    found = open_inspection(tmp_path / "car.json")
    assert not faults
    assert found.state("body_paint") == "worn"
    assert found.findings["body_paint"].seen_by == "A. Person"
    assert found.seen_share == pytest.approx(begun.record("body_paint", "worn").seen_share)


@pytest.mark.browser
def test_the_printed_round_takes_four_pages_in_every_language() -> None:
    """Of letter paper, the shorter of the two."""
    with page(PHONE, chromium()) as (opened, _):
        for construction in CONSTRUCTIONS:
            found = Inspection.start(construction, CAR)
            for language in ("en_GB", "de_DE", "fr_FR", "it_IT"):
                opened.set_content(inspection_page(found, words=LocaleWords.of(language)))
                printed = opened.pdf(format="Letter")
                assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 4, (construction, language)
