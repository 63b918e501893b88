"""Photographs in the documents: on the cover and beside the findings, within the margins, described, without
their place; their originals in an annex."""

import io
import zipfile
from dataclasses import replace
from datetime import date
from typing import Any

import pdfplumber
import pytest
from docx import Document
from docx.oxml.ns import qn

from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record.photographs import with_added
from pricing.appraisal.register import Entry
from pricing.reports.formats.blocks import Heading, Pages, Photographs, Plate
from pricing.reports.formats.docx import MARGIN, docx
from pricing.reports.formats.pdf import pdf
from pricing.reports.report import report
from pricing.untrusted.photographs import ReadPhotograph, read_photograph
from pricing.words.language.locale import LocaleWords, shown
from tests.appraisals import CAR_SIGN, HOSTILE, pdf_text
from tests.drawn_photographs import drawn_photograph
from tests.reports.test_pdf import squeezed

INCH, MILLIMETRE = 72.0, 72.0 / 25.4
CAPTIONS = ("Front, from the left", "Paint of the bonnet", "Very tall", "=A1 <b>#eval</b>")


@pytest.fixture(scope="module")
def read_ones() -> list[ReadPhotograph]:
    drawn = (
        drawn_photograph((800, 500)), drawn_photograph((400, 300), orientation=8),
        drawn_photograph((200, 900), mark=3), drawn_photograph((600, 300), kind="PNG", mode="RGBA"),
    )  # fmt: skip
    return [read_photograph(content, f"{place}.jpg") for place, content in enumerate(drawn)]


@pytest.fixture(scope="module")
def pictured(entry: Entry, read_ones: list[ReadPhotograph]) -> Facts:
    shots: Any = ()
    for place, (one, caption) in enumerate(zip(read_ones, CAPTIONS, strict=True)):
        check = "body_paint" if place == 1 else ""
        shots = with_added(shots, one, f"{place}.jpg", caption=caption, check=check, cover=place == 0)
    shown_ones = {one.digest: one.shown for one in read_ones}
    record = replace(entry.record, photographs=shots)
    return facts_of(replace(entry, record=record, shown=shown_ones))


@pytest.fixture(scope="module")
def pages(pictured: Facts) -> Pages:
    return report(pictured, LocaleWords.of("en_GB"))


@pytest.fixture(scope="module")
def content(pages: Pages) -> bytes:
    return pdf(pages, "a4", date(2026, 11, 2))


def test_one_is_on_the_cover_one_beside_its_finding_and_the_rest_among_others(pages: Pages) -> None:
    assert pages.cover is not None and pages.cover.photograph is not None
    assert pages.cover.photograph.caption == "Photograph 1: Front, from the left"
    titles = [block.text for block in pages.blocks if isinstance(block, Heading)]
    assert {"Photographs of findings", "Photographs of the car"} <= set(titles)
    of_findings, others = (block for block in pages.blocks if isinstance(block, Photographs))
    ((name, said), *_) = of_findings.items[0].beside
    assert (name, said) == ("Finding", "Paint as a whole")
    assert [item.caption for item in others.items] == [
        "Photograph 3: Very tall", "Photograph 4: =A1 <b>#eval</b>"]  # fmt: skip
    assert all(item.alt for item in (*of_findings.items, *others.items))


def test_the_sheet_names_the_photograph_and_the_annex_its_original(
    content: bytes, read_ones: list[ReadPhotograph]
) -> None:
    said = squeezed(pdf_text(content))
    assert squeezed("Annex F: Photographs") in said
    for one in read_ones:
        assert one.digest in said
    for told in ("the place (GPS)", "20 June 2026", "Photograph 2: Paint of the bonnet", CAPTIONS[3]):
        assert squeezed(told) in said
    assert squeezed("Note Omega; photograph 2") in said


def test_pictures_stand_within_the_margins_of_the_pdf_and_are_described(content: bytes) -> None:
    with pdfplumber.open(io.BytesIO(content)) as opened:
        found = [(page, image) for page in opened.pages for image in page.images]
        assert len(found) == 4
        assert found[0][0].page_number == 1
        for page, image in found:
            assert image["x0"] >= 22 * MILLIMETRE - 0.5
            assert image["x1"] <= float(page.width) - 22 * MILLIMETRE + 0.5
            assert image["bottom"] <= float(page.height) - 20 * MILLIMETRE
            wide, high = image["srcsize"]
            assert (image["x1"] - image["x0"]) / (image["bottom"] - image["top"]) == pytest.approx(
                wide / high, rel=0.01
            )
            assert image["bottom"] - image["top"] <= 75 * MILLIMETRE + 0.5
    assert content.count(b"/S/Figure") + content.count(b"/S /Figure") >= 4
    assert b"pdfuaid:part" in content


def test_what_is_shown_is_what_the_pdf_holds_and_nothing_else(
    content: bytes, read_ones: list[ReadPhotograph]
) -> None:
    for one in read_ones:
        scan = one.shown[one.shown.index(b"\xff\xda") :]  # from the start of the scan on (ITU-T T.81)
        assert scan in content and one.content not in content
    assert b"Invented Optics" not in content and b"serial-778899" not in content


def test_the_word_processor_file_has_them_within_its_margins(
    pages: Pages, read_ones: list[ReadPhotograph]
) -> None:
    made = docx(pages, "letter")
    document = Document(io.BytesIO(made))
    section = document.sections[0]
    assert section.page_width is not None
    width = section.page_width - 2 * MARGIN
    with zipfile.ZipFile(io.BytesIO(made)) as archive:
        media = {archive.read(name) for name in archive.namelist() if name.startswith("word/media/")}
    assert {one.shown for one in read_ones} <= media
    placed = {}
    for drawn in document.element.body.iter(qn("wp:inline")):
        (described,) = drawn.iter(qn("wp:docPr"))
        extent = drawn.find(qn("wp:extent"))
        placed[described.get("descr")] = (int(extent.get("cx")), int(extent.get("cy")))
    photographs = {alt: size for alt, size in placed.items() if alt.startswith("Photograph of ")}
    assert len(photographs) == 4
    for alt, (wide, high) in photographs.items():
        assert wide <= (width if CAPTIONS[0] in alt else width // 2), alt
        assert high <= 75 * 36_000 + 1  # English metric units: 36,000 to the millimetre (ECMA-376)
    (tall,) = (size for alt, size in photographs.items() if "Very tall" in alt)
    assert tall[0] / tall[1] == pytest.approx(200 / 900, rel=0.01)


def test_a_caption_is_text_and_nothing_more(pictured: Facts, read_ones: list[ReadPhotograph]) -> None:
    """Photographs of their own, each under another hostile text."""
    names = [name for name in HOSTILE if name != "right to left"]
    items = tuple(Plate(read_ones[0].digest, HOSTILE[name], HOSTILE[name]) for name in names)
    beside = Plate(read_ones[1].digest, "-", "-", tuple((text, text) for text in HOSTILE.values()))
    pages = Pages("Draft", "car", "", "reference", "en-GB", (Heading("Part"), Photographs((*items, beside))),
                  photographs=pictured.shown)  # fmt: skip
    said = squeezed(pdf_text(pdf(pages)))
    document = Document(io.BytesIO(docx(pages)))
    written = squeezed("".join(part.text or "" for part in document.element.body.iter(qn("w:t"))))
    for name in names:
        text = squeezed(shown(HOSTILE[name]))
        assert max(said.count(text), said.count(text.replace(CAR_SIGN, "[U+1F697]"))) >= 3, name
        assert written.count(text) >= 3, name


def test_a_photograph_that_is_not_at_hand_is_listed_and_not_placed(pictured: Facts) -> None:
    bare = report(replace(pictured, shown={}), LocaleWords.of("en_GB"))
    assert bare.cover is not None and bare.cover.photograph is None
    assert not [block for block in bare.blocks if isinstance(block, Photographs)]
