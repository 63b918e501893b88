"""Parts of Office Open XML that the word processor library has no words for: fields, shading, header rows."""

from typing import Any, Final

from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.oxml import OxmlElement
from docx.oxml.ns import qn

from pricing.reports.formats.docx_styles import LINE

_AFTER_FIELDS: Final = ("hdrShapeDefaults", "footnotePr", "endnotePr", "compat", "rsids")
"""Settings of a document that stand after the one on fields (ECMA-376, CT_Settings)."""


def element(tag: str, /, **attributes: str) -> Any:
    """An element of the main namespace with attributes of it."""
    made: Any = OxmlElement(f"w:{tag}")
    for key, value in attributes.items():
        made.set(qn(f"w:{key}"), value)
    return made


def add_field(paragraph: Any, instruction: str, shown_now: str) -> None:
    """A field that the word processor works out, with what it shows until then."""
    begin_field(paragraph, instruction)
    paragraph.add_run(shown_now)
    end_field(paragraph)


def begin_field(paragraph: Any, instruction: str) -> None:
    """The beginning of a field: what is added after it is what it shows, until ``end_field``."""
    told = element("instrText")
    told.set(qn("xml:space"), "preserve")
    told.text = f" {instruction} "
    for part in (element("fldChar", fldCharType="begin"), told, element("fldChar", fldCharType="separate")):
        paragraph.add_run().element.append(part)


def end_field(paragraph: Any) -> None:
    """The end of a field."""
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
    told = paragraph.runs[0].element
    told.addprevious(element("bookmarkStart", id=str(number), name=_bookmark(number)))
    told.addnext(element("bookmarkEnd", id=str(number)))


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
    told = element("updateFields", val="true")
    after = [document.settings.element.find(qn(f"w:{name}")) for name in _AFTER_FIELDS]
    next(part for part in after if part is not None).addprevious(told)


def _bookmark(number: int) -> str:
    return f"_Toc{number:08d}"
