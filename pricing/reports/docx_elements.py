"""Parts of Office Open XML that the word processor library has no words for: fields, shading, header rows."""

from typing import Any

from docx.enum.text import WD_TAB_ALIGNMENT
from docx.oxml import OxmlElement
from docx.oxml.ns import qn

from pricing.reports.docx_styles import LINE


def element(name: str, **attributes: str) -> Any:
    """An element of the main namespace with attributes of it."""
    element: Any = OxmlElement(f"w:{name}")
    for key, value in attributes.items():
        element.set(qn(f"w:{key}"), value)
    return element


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


def right_stop(paragraph: Any, width: Any) -> None:
    """A tab stop at the right margin."""
    stops = paragraph.paragraph_format.tab_stops
    stops.add_tab_stop(width, WD_TAB_ALIGNMENT.RIGHT)
