"""The PDF, read back: what it says, how it looks, and that no text in it is anything but text."""

import os
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pricing.appraisal.facts import facts_of
from pricing.appraisal.record.record import Appraisal, with_answer
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError
from pricing.reports.formats.blocks import (
    AnswerList,
    Blanks,
    Block,
    Column,
    Figure,
    Heading,
    NewPage,
    Pages,
    Paragraph,
    Table,
)
from pricing.reports.formats.pdf import PAPERS, pdf
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.short import statement
from pricing.words.language.locale import LocaleWords, shown
from tests.appraisals import ARABIC, CAR_SIGN, HEBREW, HOSTILE, links_of, page_images, pdf_pages, pdf_text
from tests.reports.sample_pages import SAMPLE

GOLDEN = Path(__file__).parent / "golden"
DOTS = 40
TOLERANCE = 2.5
"""Mean difference of grey levels (of 255) that another version of a typesetter or a painter may make."""


@pytest.fixture(scope="module")
def content(pages: Pages) -> bytes:
    return pdf(pages, "a4", date(2026, 11, 2))


def squeezed(text: str) -> str:
    """Letters and figures alone: line ends and hyphens are the typesetter's."""
    return re.sub(r"[\s\u00ad\u2010-]+", "", text)


def test_every_cell_of_every_table_is_in_it(content: bytes, pages: Pages) -> None:
    said = squeezed(pdf_text(content))
    cells = [cell for block in pages.blocks if isinstance(block, Table) for row in block.rows for cell in row]
    cells += [
        cell for block in pages.blocks if isinstance(block, AnswerList) for row in block.rows for cell in row
    ]
    cells += [block.text for block in pages.blocks if isinstance(block, Heading)]
    cells += [label for block in pages.blocks if isinstance(block, Blanks) for label in block.labels]
    missing = {cell for cell in cells if squeezed(cell) not in said}
    assert missing == set()
    assert len(cells) > 500


def test_it_is_tagged_archival_and_described(content: bytes, pages: Pages) -> None:
    """PDF/UA-1 (ISO 14289-1) and PDF/A-2a (ISO 19005-2) name themselves in the metadata; the typesetter
    refuses pages that are neither."""
    assert b"/MarkInfo" in content
    assert b"/StructTreeRoot" in content
    assert b"pdfuaid:part" in content
    assert b"pdfaid:part" in content
    figures = [block for block in pages.blocks if isinstance(block, Figure)]
    assert content.count(b"/S/Figure") + content.count(b"/S /Figure") >= len(figures)
    assert content.count(b"/S/TH") + content.count(b"/S /TH") > 50
    assert b"/S/H1" in content or b"/S /H1" in content
    assert b"/Lang" in content


def test_a_figure_without_a_description_is_no_accessible_document() -> None:
    assert b"/Alt" in pdf(replace(SAMPLE, blocks=[Figure("bars", "caption", "three bars")]))
    with pytest.raises(AppraisalError, match="alt"):
        pdf(replace(SAMPLE, blocks=[Figure("bars", "caption", "")]))


def test_the_same_pages_give_the_same_bytes() -> None:
    assert pdf(SAMPLE, "a4", date(2026, 11, 2)) == pdf(SAMPLE, "a4", date(2026, 11, 2))


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_says_what_it_is_of_and_that_it_is_a_draft(pages: Pages, paper: str) -> None:
    parts = pdf_text(pdf(pages, paper, date(2026, 11, 2))).split("\f")[:-1]
    assert 10 <= len(parts) <= 25
    for place, part in enumerate(parts, start=1):
        assert f"Page {place} of {len(parts)}" in part
        assert "Draft for a qualified valuer" in part
        assert "appraisal-0001, revision 1, evidence" in part
        assert len(part.split()) > 40  # no page is all but empty


def test_there_is_no_such_paper(pages: Pages) -> None:
    with pytest.raises(AppraisalError, match="no paper 'a5'; expected one of: a4, letter"):
        pdf(pages, "a5")


def hostile_record(record: Appraisal, text: str) -> Appraisal:
    """The text in every field that takes any."""
    for name in (
        "assignment.client", "assignment.intended_users", "assignment.scope", "assignment.basis_definition",
        "subject.chassis_number", "subject.colour", "subject.provenance", "subject.established.make",
        "inspection.extent", "opinion.reconciliation", "opinion.approaches_left_out", "valuer.name",
        "valuer.contact", "assignment.limits",
    ):  # fmt: skip
        record = with_answer(record, name, text)
    return with_answer(record, "conditions.extraordinary", text.replace(";", ","))


@pytest.fixture(scope="module")
def hostile(entry: Entry, words: LocaleWords) -> bytes:
    """A document in which every text in every field is hostile."""
    record = hostile_record(entry.record, "\n".join(HOSTILE.values()))
    return pdf(report(facts_of(replace(entry, record=record)), words), "letter")


def test_nothing_in_a_hostile_document_acts_or_leads_out(hostile: bytes) -> None:
    assert links_of(hostile) == []


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_is_shown_as_text(hostile: bytes, name: str) -> None:
    said = squeezed(pdf_text(hostile))
    if name == "right to left":
        assert HEBREW in said or HEBREW[::-1] in said
        assert "leftagain" in said
        assert any(word in said for word in (ARABIC.split()[0], ARABIC.split()[0][::-1], "[U+0633]"))
        return
    text = squeezed(shown(HOSTILE[name]))
    assert max(said.count(text), said.count(text.replace(CAR_SIGN, "[U+1F697]"))) >= 10


@pytest.mark.parametrize("text", [HOSTILE["long word"], "word " * 3_000, "line\n" * 300])
def test_the_short_forms_keep_to_their_pages_whatever_is_said(
    entry: Entry, words: LocaleWords, text: str
) -> None:
    record = with_answer(hostile_record(entry.record, text), "assignment.tax_status", text)
    facts = facts_of(replace(entry, record=record))
    for paper in PAPERS:
        assert pdf_pages(pdf(statement(facts, words), paper)) == 2
        assert pdf_pages(pdf(letter(facts, words), paper)) == 2


def test_nothing_reaches_into_the_margins(hostile: bytes, tmp_path: Path) -> None:
    """Text without a space, in wide capitals, stays between the margins of 22 mm."""
    for image in page_images(hostile, tmp_path, DOTS):
        page = grey(image)
        margin = int(21 / 25.4 * DOTS)
        assert page[:, :margin].min() > 200, image.name
        assert page[:, -margin:].min() > 200, image.name


@pytest.mark.parametrize("paper", PAPERS)
def test_no_page_is_under_half_full_but_the_last_of_a_part(pages: Pages, paper: str, tmp_path: Path) -> None:
    made = pdf(pages, paper)
    said = pdf_text(made).split("\f")
    titles = {block.text for block in pages.blocks if isinstance(block, Heading) and block.level == 1}
    for place, image in enumerate(page_images(made, tmp_path, DOTS)[1:-1], start=1):
        dark = grey(image) < 200
        top, foot = round(26 / 25.4 * DOTS), dark.shape[0] - round(24 / 25.4 * DOTS)
        inked = np.flatnonzero(dark[top:foot].any(axis=1))
        full = 0.0 if not len(inked) else (inked[-1] + 1) / (foot - top)
        begins = [line for line in said[place + 1].splitlines() if line.strip()][:6]
        assert full >= 0.5 or titles & set(begins), f"page {place + 1} is {full:.0%} full"


@pytest.mark.parametrize("rows", range(42, 50))
def test_no_row_of_a_table_stands_alone_on_its_last_page(rows: int) -> None:
    """Nor its note: three rows at least go over with it."""
    table = Table("Rows", (Column("Name"),), tuple((f"row{place}",) for place in range(rows)), note="Noted")
    last = pdf_text(pdf(replace(SAMPLE, cover=None, blocks=[table]))).split("\f")[-2]
    assert last.count("row") >= 3
    assert "Noted" in last


@pytest.mark.parametrize("lines", [1, 12, 25, 200])
def test_what_is_signed_stands_above_the_signature_on_one_page(lines: int) -> None:
    """Where it fits one; what is longer than a page goes over, and nothing is cut off."""
    before = Paragraph("\n".join(["before"] * 30))
    signed = Paragraph("\n".join(["signed"] * lines))
    blocks: list[Block] = [before, NewPage(whole=True), Heading("Certified"), signed, Blanks(("Signature",))]
    parts = pdf_text(pdf(replace(SAMPLE, cover=None, contents=False, blocks=blocks))).split("\f")
    assert sum(part.count("signed") for part in parts) == lines
    (page,) = [part for part in parts if "Signature" in part]
    assert lines == 200 or page.count("signed") == lines


def test_the_pages_look_as_they_did(tmp_path: Path) -> None:
    """Golden pictures of a document with one block of every kind, in the typeface of the typesetter."""
    found = page_images(pdf(SAMPLE, "a4", date(2026, 11, 2)), tmp_path, DOTS)
    if os.environ.get("GOLDEN") == "write":
        for image in found:
            (GOLDEN / image.name).write_bytes(image.read_bytes())
    expected = sorted(GOLDEN.glob("page-*.png"))
    assert [image.name for image in found] == [image.name for image in expected]
    for image, golden in zip(found, expected, strict=True):
        difference = np.abs(grey(image) - grey(golden))
        assert difference.mean() < TOLERANCE, image.name


def grey(image: Path) -> np.ndarray:
    """A picture as grey levels (rows, columns)."""
    with Image.open(image) as opened:
        return np.asarray(opened.convert("L"), dtype=np.float64)
