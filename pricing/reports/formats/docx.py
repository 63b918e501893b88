"""Written documents as files of a word processor (Office Open XML): real styles, so that they can be edited.

The same blocks as the PDF. Headings, captions, lists and tables carry the styles of those names; tables have
header rows that repeat; pictures have a description for those who cannot see them.
"""

import io
import re
from datetime import date, datetime
from typing import Any, Final

from docx import Document
from docx.enum.section import WD_ORIENT, WD_SECTION
from docx.enum.table import WD_TABLE_ALIGNMENT
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.shared import Emu, Mm, Pt, RGBColor

from pricing.errors import AppraisalError
from pricing.reports.formats import blocks
from pricing.reports.formats import docx_elements as elements
from pricing.reports.formats.docx_styles import BLUE, GREY, PALE, VERMILION, WARM, lay_out_styles
from pricing.reports.formats.pdf import pages_of_parts
from pricing.reports.formats.pictures import png
from pricing.words.language.locale import shown

PAPERS: Final = {"a4": (Mm(210), Mm(297)), "letter": (Mm(215.9), Mm(279.4))}

UNDATED: Final = date(2000, 1, 1)
"""Stamp of a file that is given no day."""

MARGIN: Final = Mm(22)

KEPT_ROWS: Final = 10
"""Tables of no more rows are kept on one page."""


def docx(pages: blocks.Pages, paper: str = "a4", made_on: date | None = None) -> bytes:
    """A document as the bytes of a .docx file, stamped with the day ``made_on``.

    Raises:
        AppraisalError: there is no such paper.
    """
    if paper not in PAPERS:
        raise AppraisalError(f"no paper {paper!r}; expected one of: {', '.join(PAPERS)}")
    return _Writer(pages, paper, made_on).written()


class _Writer:
    """One document being written, block by block."""

    def __init__(self, pages: blocks.Pages, paper: str, made_on: date | None) -> None:
        self.pages, self.paper = pages, paper
        self.document: Any = Document()
        self.counts = {"Table": 0, "Figure": 0}
        self.parts = 0
        lay_out_styles(self.document, pages.language)
        self.table_text = self.document.styles["Table Text"]
        section = self.document.sections[0]
        section.page_width, section.page_height = PAPERS[paper]
        section.left_margin = section.right_margin = MARGIN
        section.top_margin, section.bottom_margin = Mm(24), Mm(22)
        self.width = Emu(section.page_width - 2 * MARGIN)
        day = UNDATED if made_on is None else made_on
        properties = self.document.core_properties
        properties.title = shown(f"{pages.title}: {pages.subject}")[:250]
        properties.author, properties.language = shown(pages.author)[:250], pages.language
        properties.created = properties.modified = datetime(day.year, day.month, day.day)
        properties.comments = shown(pages.reference)[:250]

    def written(self) -> bytes:
        self._running_lines()
        if self.pages.cover is not None:
            self._cover(self.pages.cover)
        for block in self.pages.blocks:
            self._block(block)
        buffer = io.BytesIO()
        self.document.save(buffer)
        return buffer.getvalue()

    def _block(self, block: blocks.Block) -> None:
        match block:
            case blocks.Heading():
                heading = self._text(block.text, f"Heading {block.level}")
                if block.level == 1:
                    self.parts += 1
                    elements.bookmark(heading, self.parts)
            case blocks.Paragraph():
                style = {"small": "Small Print", "caution": "Caution"}.get(block.manner, "Body Text")
                for part in _lines(block.text):
                    self._text(part, style)
            case blocks.Bullets():
                for item in block.items:
                    self._text(item, "List Bullet")
            case blocks.AnswerList():
                if block.caption:
                    self._caption("Table", block.caption)
                self._answers(block.rows, block.widths)
            case blocks.Table():
                self._table(block)
            case blocks.Figure():
                self._figure(block)
            case blocks.Statement():
                self._statement(block)
            case blocks.Blanks():
                for label in block.labels:
                    self._text(label, "Field Label")
                    self._text("", "Field Line")
            case blocks.NewPage():
                self._new_page(across=block.across)
            case blocks.Photographs():
                for row in elements.rows_of(block.items):
                    elements.add_row(self.document, row, self.pages.photographs, self.width)
                    self._after_table()

    def _text(self, text: str, style: str) -> Any:
        paragraph = self.document.add_paragraph(style=style)
        parts = _lines(text)
        for place, part in enumerate(parts):
            run = paragraph.add_run(part)
            if place < len(parts) - 1:
                run.add_break()
        return paragraph

    def _caption(self, kind: str, text: str) -> None:
        """A caption with its number as a field that the word processor counts."""
        self.counts[kind] += 1
        paragraph = self.document.add_paragraph(style="Caption")
        paragraph.paragraph_format.keep_with_next = kind == "Table"
        paragraph.add_run(f"{self.pages.labels[kind.lower()]} ")
        elements.add_field(paragraph, f"SEQ {kind} \\* ARABIC", str(self.counts[kind]))
        paragraph.add_run(f": {shown(text)}")

    def _answers(self, rows: tuple[tuple[str, str], ...], widths: tuple[float, float] = (1.0, 2.6)) -> None:
        for cells, (name, answer) in zip(self._frame(len(rows), widths), rows, strict=True):
            self._fill(cells[0], name, colour=GREY)
            self._fill(cells[1], answer)
        self._after_table()

    def _table(self, block: blocks.Table) -> None:
        self._caption("Table", block.caption)
        widths = tuple(column.width for column in block.columns)
        head, *rest = self._frame(len(block.rows) + 1, widths, head=True)
        size = Pt(6.5) if block.wide else Pt(8) if len(block.columns) > 5 or len(block.rows) > 40 else Pt(9)
        for cell, column in zip(head, block.columns, strict=True):
            self._fill(cell, column.header, bold=True, colour=BLUE, size=size, right=column.numbers, on=True)
        for place, (cells, row) in enumerate(zip(rest, block.rows, strict=True)):
            strong, on = place in block.strong, place < len(rest) - 1 and len(rest) <= KEPT_ROWS
            for cell, column, text in zip(cells, block.columns, row, strict=True):
                self._fill(cell, text, bold=strong, size=size, right=column.numbers, on=on)
                if strong:
                    elements.shade(cell, PALE)
        if block.note:
            self._text(block.note, "Small Print")
        self._after_table()

    def _new_page(self, *, across: bool) -> None:
        """What follows stands on a new page; pages laid across are turned by a quarter, between the same
        margins."""
        before = self.document.sections[-1]
        if across == (before.page_width > before.page_height):
            self.document.add_page_break()
            return
        section = self.document.add_section(WD_SECTION.NEW_PAGE)
        section.page_width, section.page_height = before.page_height, before.page_width
        section.orientation = WD_ORIENT.LANDSCAPE if across else WD_ORIENT.PORTRAIT
        section.different_first_page_header_footer = False
        self.width = Emu(section.page_width - section.left_margin - section.right_margin)

    def _frame(self, rows: int, widths: tuple[float, ...], *, head: bool = False) -> list[list[Any]]:
        """The cells of an empty table over the whole width, ruled between rows, its columns as wide as asked;
        with ``head`` the first row is its header."""
        table = self.document.add_table(rows, len(widths))
        table.alignment, table.autofit = WD_TABLE_ALIGNMENT.LEFT, False
        elements.rule_rows(table)
        each = [Emu(int(self.width * width / sum(widths))) for width in widths]
        for column, wide in zip(table.columns, each, strict=True):
            column.width = wide
        framed = []
        for place, row in enumerate(table.rows):
            cells = list(row.cells)
            for cell, wide in zip(cells, each, strict=True):
                cell.width = wide
            elements.keep_whole(row)
            if head and place == 0:
                elements.repeat(row)
            framed.append(cells)
        return framed

    def _fill(
        self,
        cell: Any,
        text: str,
        *,
        bold: bool = False,
        colour: str = "",
        size: Any = None,
        right: bool = False,
        on: bool = False,
    ) -> None:
        for place, part in enumerate(_lines(text)):
            paragraph = cell.paragraphs[0] if place == 0 else cell.add_paragraph()
            paragraph.style = self.table_text
            if on:
                paragraph.paragraph_format.keep_with_next = True
            if right:
                paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
            run = paragraph.add_run(part)
            if bold:
                run.font.bold = True
            if colour:
                run.font.color.rgb = RGBColor.from_string(colour)
            if size is not None:
                run.font.size = size

    def _after_table(self) -> None:
        self.document.add_paragraph(style="After Table")

    def _figure(self, block: blocks.Figure) -> None:
        paragraph = self.document.add_paragraph(style="Picture")
        run = paragraph.add_run()
        run.add_picture(io.BytesIO(png(self.pages.pictures[block.name])), self.width)
        elements.describe(run, block.alt, block.caption)
        self._caption("Figure", block.caption)

    def _statement(self, block: blocks.Statement) -> None:
        warning = block.manner == "warning"
        table = self.document.add_table(1, 1)
        table.autofit = False
        cell = table.rows[0].cells[0]
        cell.width = table.columns[0].width = self.width
        elements.shade(cell, WARM if warning else PALE)
        elements.keep_whole(table.rows[0])
        self._fill(cell, block.title, bold=True, colour=VERMILION if warning else BLUE)
        cell.add_paragraph(style="Body Text" if warning else "Stated Value").add_run(shown(block.text))
        if block.terms:
            cell.add_paragraph(style="Small Print").add_run(shown(block.terms))
        self._after_table()

    def _cover(self, cover: blocks.Cover) -> None:
        head = self._text(self.pages.title, "Subtitle")
        self._text(self.pages.subject, "Title")
        if self.pages.mark:
            self._text(self.pages.mark, "State Mark")
        if cover.photograph is not None:
            head.paragraph_format.space_before = Pt(0)
            line = self.document.add_paragraph(style="Picture")
            elements.add_photograph(
                line, cover.photograph, self.pages.photographs, self.width, elements.COVER
            )
        self._answers(cover.rows)
        if self.pages.contents:
            self._contents()
        self._text(cover.statement, "Small Print")
        self.document.add_page_break()

    def _contents(self) -> None:
        """The table of contents: every part, a link to it, and its page as a field of its own, the PDF's
        until the word processor counts it; within one field of contents some count none before they are
        asked."""
        headings = [block for block in self.pages.blocks if isinstance(block, blocks.Heading)]
        titles = [heading.text for heading in headings if heading.level == 1]
        on = pages_of_parts(self.pages, self.paper)
        elements.count_on_opening(self.document)
        for place, (title, page) in enumerate(zip(titles, on, strict=True), start=1):
            paragraph = self.document.add_paragraph(style="toc 1")
            elements.right_stop(paragraph, self.width, dotted=True)
            elements.add_contents_line(paragraph, place, shown(title), page)

    def _running_lines(self) -> None:
        """Head and foot of every page: state and car; reference and page number."""
        section = self.document.sections[0]
        section.different_first_page_header_footer = self.pages.cover is not None
        head = section.header.paragraphs[0]
        head.style = self.document.styles["Header"]
        if self.pages.mark:
            run = head.add_run(shown(self.pages.mark))
            run.font.color.rgb, run.font.bold = RGBColor.from_string(VERMILION), True
            run.add_break()
        elements.right_stop(head, self.width)
        head.add_run(f"{shown(self.pages.title)}\t{shown(self.pages.subject)}")
        for footer in (section.footer, section.first_page_footer)[: 1 + (self.pages.cover is not None)]:
            foot = footer.paragraphs[0]
            foot.style = self.document.styles["Footer"]
            elements.right_stop(foot, self.width)
            before, between, after = re.split(r"\{pages?\}", self.pages.labels["page"])
            foot.add_run(f"{shown(self.pages.reference)}\t{before}")
            elements.add_field(foot, "PAGE", "1")
            foot.add_run(between)
            elements.add_field(foot, "NUMPAGES", "1")
            foot.add_run(after)


def _lines(text: str) -> list[str]:
    lines = [part for part in shown(text).split("\n") if part.strip()]
    return lines if lines else [""]
