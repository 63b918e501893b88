"""Parts of Office Open XML that the word processor library has no words for: fields, shading, header rows;
photographs within the margins, with a description and text beside them."""

import io
from collections.abc import Mapping, Sequence
from typing import Any, Final

from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Emu, Mm

from pricing.reports.formats.blocks import Plate
from pricing.reports.formats.docx_styles import LINE
from pricing.words.language.locale import shown

_AFTER_FIELDS: Final = ("hdrShapeDefaults", "footnotePr", "endnotePr", "compat", "rsids")
"""Settings of a document that stand after the one on fields (ECMA-376, CT_Settings)."""

TALLEST: Final = Mm(75)
COVER: Final = Mm(44)
"""The tallest that a photograph is shown, among others and on the cover."""

_GUTTER: Final = Mm(6)


def element(tag: str, /, **attributes: str) -> Any:
    """An element of the main namespace with attributes of it."""
    made: Any = OxmlElement(f"w:{tag}")
    for key, value in attributes.items():
        made.set(qn(f"w:{key}"), value)
    return made


def add_field(paragraph: Any, instruction: str, until_then: str) -> None:
    """A field that the word processor works out, with what it shows until then."""
    text = element("instrText")
    text.set(qn("xml:space"), "preserve")
    text.text = f" {instruction} "
    for part in (element("fldChar", fldCharType="begin"), text, element("fldChar", fldCharType="separate")):
        paragraph.add_run().element.append(part)
    paragraph.add_run(until_then)
    paragraph.add_run().element.append(element("fldChar", fldCharType="end"))


def shade(cell: Any, colour: str) -> None:
    """A cell's ground."""
    cell._tc.get_or_add_tcPr().append(element("shd", val="clear", color="auto", fill=colour))


def repeat(row: Any) -> None:
    """The row as the table's header: said to be one, and repeated on every page."""
    row._tr.get_or_add_trPr().append(element("tblHeader", val="true"))


def keep_whole(row: Any) -> None:
    """The row kept on one page."""
    row._tr.get_or_add_trPr().append(element("cantSplit", val="true"))


def rule_rows(table: Any) -> None:
    """Lines between the rows of a table and under the last."""
    borders = element("tblBorders")
    for side in ("bottom", "insideH"):
        borders.append(element(side, val="single", sz="4", space="0", color=LINE))
    table._tbl.tblPr.append(borders)


def right_stop(paragraph: Any, width: Any, *, dotted: bool = False) -> None:
    """A tab stop at the right margin, where it is ``dotted`` with dots up to it."""
    stops = paragraph.paragraph_format.tab_stops
    leader = WD_TAB_LEADER.DOTS if dotted else WD_TAB_LEADER.SPACES
    stops.add_tab_stop(width, WD_TAB_ALIGNMENT.RIGHT, leader)


def bookmark(paragraph: Any, number: int) -> None:
    """A name for a heading, by which the table of contents finds it."""
    heading = paragraph.runs[0].element
    heading.addprevious(element("bookmarkStart", id=str(number), name=_bookmark(number)))
    heading.addnext(element("bookmarkEnd", id=str(number)))


def add_contents_line(paragraph: Any, number: int, title: str, page: int) -> None:
    """A line of the table of contents: a link to a heading, and the page that it stands on."""
    link = element("hyperlink", anchor=_bookmark(number), history="1")
    before = len(paragraph.runs)
    paragraph.add_run(f"{title}\t")
    add_field(paragraph, f"PAGEREF {_bookmark(number)} \\h", str(page))
    parts = [run.element for run in paragraph.runs[before:]]
    parts[0].addprevious(link)
    link.extend(parts)


def count_on_opening(document: Any) -> None:
    """Have the word processor work out every field when it opens the file."""
    after = [document.settings.element.find(qn(f"w:{name}")) for name in _AFTER_FIELDS]
    next(part for part in after if part is not None).addprevious(element("updateFields", val="true"))


def _bookmark(number: int) -> str:
    return f"_Toc{number:08d}"


def describe(run: Any, alt: str, caption: str) -> None:
    """What a picture shows, for those who cannot see it."""
    (properties,) = run.element.iter(qn("wp:docPr"))
    properties.set("descr", shown(alt))
    properties.set("title", shown(caption)[:200])


def rows_of(items: Sequence[Plate]) -> list[tuple[Plate, ...]]:
    """Photographs by rows: alone where lines stand beside it, else two and two."""
    alone = [(item,) for item in items if item.beside]
    others = [item for item in items if not item.beside]
    return alone + [tuple(others[place : place + 2]) for place in range(0, len(others), 2)]


def add_row(document: Any, row: Sequence[Plate], photographs: Mapping[str, bytes], width: Any) -> None:
    """A row of two cells, kept on one page: each photograph with its caption, or one with the lines that
    stand beside it."""
    table = document.add_table(1, 2)
    table.autofit = False
    keep_whole(table.rows[0])
    cells = table.rows[0].cells
    half = Emu(int(width) // 2)
    for column, cell in zip(table.columns, cells, strict=True):
        column.width = cell.width = half
    for cell, item in zip(cells, row, strict=False):
        line = cell.paragraphs[0]
        line.style = "Picture"
        add_photograph(line, item, photographs, Emu(half - _GUTTER), TALLEST)
        cell.add_paragraph(style="Caption").add_run(shown(item.caption))
    for place, (name, answer) in enumerate(row[0].beside):
        label = cells[1].paragraphs[0] if place == 0 else cells[1].add_paragraph()
        label.style = "Small Print"
        label.add_run(shown(name))
        label.paragraph_format.keep_with_next = True
        cells[1].add_paragraph(style="Body Text").add_run(shown(answer))


def add_photograph(line: Any, item: Plate, photographs: Mapping[str, bytes], most: Any, tallest: Any) -> None:
    """Put a photograph into a paragraph, as large as fits ``most`` across and ``tallest`` down."""
    run = line.add_run()
    picture = run.add_picture(io.BytesIO(photographs[item.name]), most)
    if picture.height > tallest:
        picture.width, picture.height = Emu(int(picture.width * tallest / picture.height)), Emu(tallest)
    (inline,) = run.element.iter(qn("wp:inline"))
    for side in ("distT", "distB", "distL", "distR"):
        inline.set(side, "0")  # else programs leave a space of their own around it
    describe(run, item.alt, item.caption)
