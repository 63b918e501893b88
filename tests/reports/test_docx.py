"""The word processor file, read back with the library that others read it with."""

import io
import zipfile
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from docx import Document
from docx.oxml.ns import qn

from pricing.appraisal.facts import facts_of
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError
from pricing.reports.formats.blocks import (
    AnswerList,
    Bullets,
    Figure,
    Heading,
    Pages,
    Paragraph,
    Statement,
    Table,
)
from pricing.reports.formats.docx import docx
from pricing.reports.formats.pdf import pdf
from pricing.reports.report import report
from pricing.words.language.locale import LocaleWords, shown
from tests.appraisals import HOSTILE, pdf_text
from tests.reports.sample_pages import SAMPLE
from tests.reports.test_pdf import hostile_record


@pytest.fixture(scope="module")
def content(pages: Pages) -> bytes:
    return docx(pages, "a4", date(2026, 11, 2))


@pytest.fixture(scope="module")
def document(content: bytes) -> Any:
    return Document(io.BytesIO(content))


def of_style(document: Any, style: str) -> list[str]:
    return [paragraph.text for paragraph in document.paragraphs if paragraph.style.name == style]


def rows_of(table: Any) -> list[list[str]]:
    """The cells of a table as text, straight from the file: the library walks them one by one."""
    return [
        ["\n".join("".join(run.text or "" for run in line.iter(qn("w:t"))) for line in cell.iter(qn("w:p")))
         for cell in row.iter(qn("w:tc"))]
        for row in table._tbl.iter(qn("w:tr"))
    ]  # fmt: skip


def test_headings_carry_the_styles_of_headings(document: Any, pages: Pages) -> None:
    for level in (1, 2):
        expected = [
            block.text for block in pages.blocks if isinstance(block, Heading) and block.level == level
        ]
        assert of_style(document, f"Heading {level}") == expected
    assert of_style(document, "Title") == [pages.subject]
    assert of_style(document, "List Bullet") == [
        item for block in pages.blocks if isinstance(block, Bullets) for item in block.items
    ]
    body = [
        part
        for b in pages.blocks
        if isinstance(b, Paragraph) and b.manner == "body"
        for part in b.text.split("\n")
    ]
    assert [text for text in body if text.strip()] == of_style(document, "Body Text")


def test_every_cell_is_the_cell_of_the_block(document: Any, pages: Pages) -> None:
    assert pages.cover is not None
    expected = [[list(row) for row in pages.cover.rows]]
    for block in pages.blocks:
        if isinstance(block, AnswerList):
            expected.append([list(row) for row in block.rows])
        elif isinstance(block, Table):
            expected.append([[column.header for column in block.columns], *(list(row) for row in block.rows)])
        elif isinstance(block, Statement):
            expected.append([["\n".join(part for part in (block.title, block.text, block.terms) if part)]])
    assert [rows_of(table) for table in document.tables] == expected


def test_captions_are_numbered_fields(document: Any, pages: Pages) -> None:
    captions = of_style(document, "Caption")
    kinds = {"Table": (Table, AnswerList), "Figure": (Figure,)}
    for kind, blocks in kinds.items():
        told = [block.caption for block in pages.blocks if isinstance(block, blocks) and block.caption]
        said = [caption for caption in captions if caption.startswith(kind)]
        assert said == [f"{kind} {place}: {caption}" for place, caption in enumerate(told, start=1)]
    fields = [node.text.strip() for node in document.element.iter(qn("w:instrText"))]
    assert sum(field.startswith("SEQ") for field in fields) == len(captions)


def test_the_contents_are_links_with_pages_that_are_counted_on_opening(document: Any, pages: Pages) -> None:
    titles = [block.text for block in pages.blocks if isinstance(block, Heading) and block.level == 1]
    fields = [node.text.strip() for node in document.element.iter(qn("w:instrText"))]
    assert not [field for field in fields if field.startswith("TOC")]  # its lines are counted by themselves
    lines = [paragraph for paragraph in document.paragraphs if paragraph.style.name == "toc 1"]
    assert [line.text.split("\t")[0] for line in lines] == titles
    printed = pdf_text(pdf(pages, "a4", date(2026, 11, 2))).split("\f")
    for line, title in zip(lines, titles, strict=True):  # until it is counted, the page of the PDF
        assert title in printed[int(line.text.split("\t")[1]) - 1]
    named = {
        node.get(qn("w:name")): node.getparent() for node in document.element.iter(qn("w:bookmarkStart"))
    }
    for line, title in zip(lines, titles, strict=True):
        (link,) = line.hyperlinks
        assert "".join(part.text for part in named[link.fragment].iter(qn("w:t"))) == title
        assert f"PAGEREF {link.fragment} \\h" in fields
    assert document.settings.element.find(qn("w:updateFields")).get(qn("w:val")) == "true"


def test_tables_have_header_rows_and_pictures_a_description(document: Any, pages: Pages) -> None:
    tables = [block for block in pages.blocks if isinstance(block, Table)]
    assert len(list(document.element.iter(qn("w:tblHeader")))) == len(tables)
    described = [node.get("descr") for node in document.element.iter(qn("wp:docPr"))]
    assert described == [block.alt for block in pages.blocks if isinstance(block, Figure)]


def test_every_page_says_what_it_is(document: Any, pages: Pages) -> None:
    section, *later = document.sections
    assert all(each.header.is_linked_to_previous for each in later)
    assert section.different_first_page_header_footer
    head, foot = section.header.paragraphs[0].text, section.footer.paragraphs[0].text
    assert pages.mark in head
    assert pages.subject in head
    assert pages.reference in foot
    assert of_style(document, "State Mark") == [pages.mark]
    kept = document.core_properties
    assert (kept.author, kept.created.date()) == ("Valuer Phi", date(2026, 11, 2))
    assert kept.title == f"Draft appraisal: {pages.subject}"


def test_the_language_is_said(document: Any) -> None:
    (told,) = document.styles.element.iter(qn("w:lang"))
    assert told.get(qn("w:val")) == "en-GB"


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_both_papers(pages: Pages, paper: str, size: tuple[float, float]) -> None:
    (section,) = Document(io.BytesIO(docx(replace(pages, blocks=()), paper))).sections
    found = [length.mm for length in (section.page_width, section.page_height) if length is not None]
    assert found == pytest.approx(size, abs=0.1)


def test_there_is_no_such_paper(pages: Pages) -> None:
    with pytest.raises(AppraisalError, match="no paper 'a5'"):
        docx(pages, "a5")


def test_the_same_pages_give_the_same_parts() -> None:
    made = [docx(SAMPLE, "a4", date(2026, 11, 2)) for _ in range(2)]
    one, two = (zipfile.ZipFile(io.BytesIO(each)) for each in made)
    assert {name: one.read(name) for name in one.namelist()} == {
        name: two.read(name) for name in two.namelist()
    }


def test_hostile_text_is_shown_as_text(entry: Entry, words: LocaleWords) -> None:
    record = hostile_record(entry.record, "\n".join(HOSTILE.values()))
    pages = replace(report(facts_of(replace(entry, record=record)), words), pictures={})
    pages = replace(pages, blocks=[block for block in pages.blocks if not isinstance(block, Figure)])
    made = Document(io.BytesIO(docx(pages, "letter")))
    cells = [cell for table in made.tables for row in rows_of(table) for cell in row]
    said = "\n".join([*(paragraph.text for paragraph in made.paragraphs), *cells])
    for name, text in HOSTILE.items():
        assert said.count(shown(text)) >= 10, name
    links = list(made.element.iter(qn("w:hyperlink")))  # to headings of the document, and nowhere else
    assert all(link.get(qn("w:anchor")).startswith("_Toc") and link.get(qn("r:id")) is None for link in links)
