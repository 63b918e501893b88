"""What goes out holds strangers' texts as texts, at every kind of output that has no test of its own for it:
pages and pictures of charts, sheets, notebooks, workbooks, CSV.

PDF, word processor files, the workbook of a collection and the terminal have theirs beside what writes them
(`tests/reports`, `tests/cli/test_main.py`).
"""

import io
import re
import xml.etree.ElementTree as ElementTree
import zipfile
from collections import Counter
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import altair as alt
import polars as pl
import pytest

from dashboards.downloads import as_csv, as_workbook
from pricing.charts.drawing import chart_page
from pricing.cli.output import draw
from pricing.notebook_html import facts_html
from pricing.reports.sheet import PrintedSheet, Section, SheetFigure, sheet_html
from tests.appraisals import HOSTILE

TEXTS = (
    *HOSTILE.values(), "</script><script>window.hit = 1</script><!--", "<img src=x onerror='window.hit = 1'>",
    "<svg onload=alert(1)>", "]]></style><iframe src='javascript:alert(1)'>", "&lt;b&gt;", "@SUM(A1)",
    "＝1+1", "+1-1|x",
)  # fmt: skip


class Tags(HTMLParser):
    """The tags of a page with the names of their attributes, and where anything of it leads."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: Counter[tuple[str, tuple[str, ...]]] = Counter()
        self.leads: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Count a tag."""
        self.found[tag, tuple(sorted(name for name, _ in attrs))] += 1
        self.leads += [str(value) for name, value in attrs if name in ("href", "src", "action", "srcdoc")]


def chart_of(text: str) -> alt.Chart:
    """A chart that has a text wherever one can stand."""
    rows = pl.DataFrame({"make": [text, "b"], "price": [1.0, 2.0]})
    drawn = alt.Chart(rows, title=alt.Title(text, subtitle=text)).mark_bar()
    return drawn.encode(
        x=alt.X("make", title=text), y="price", tooltip=["make", "price"], color=alt.Color("make", title=text)
    )


def sheet_of(text: str) -> PrintedSheet:
    """A sheet of nothing but one text."""
    section = Section(text, (text,), (text,), True, (text, text), ((text, text),))
    return PrintedSheet(
        text, text, (SheetFigure(text, text, text),), (section,), (section,), (section,), (text,)
    )


PAGES: dict[str, Callable[[str], str]] = {
    "chart": lambda text: chart_page(chart_of(text)),
    "sheet": lambda text: sheet_html(sheet_of(text)),
    "notebook": lambda text: facts_html(text, frame=pl.DataFrame({text: [text]})),
}


@pytest.mark.parametrize("kind", PAGES)
def test_a_page_has_the_tags_that_it_has_with_a_plain_word(kind: str) -> None:
    plain = Tags(PAGES[kind]("word"))
    assert not plain.leads
    for text in TEXTS:
        made = Tags(PAGES[kind](text))
        assert (made.found, made.leads) == (plain.found, []), text


@pytest.mark.parametrize("text", TEXTS)
def test_a_drawn_chart_has_no_element_that_acts(text: str, tmp_path: Path) -> None:
    draw(chart_of(text), tmp_path / "chart.svg")
    for element in ElementTree.parse(tmp_path / "chart.svg").iter():  # noqa: S314 - our own file
        assert element.tag.rpartition("}")[2] not in {
            "script",
            "a",
            "image",
            "foreignObject",
            "iframe",
            "use",
        }
        names = {name.rpartition("}")[2] for name in element.attrib}
        assert not names & {"href", "src"} and not [name for name in names if name.startswith("on")]


def test_workbooks_and_csv_have_no_formula_and_no_link_in_headings_or_cells() -> None:
    frame = pl.DataFrame({text: [text] for text in TEXTS})
    with zipfile.ZipFile(io.BytesIO(as_workbook(frame))) as book:
        parts = {
            name: book.read(name).decode() for name in book.namelist() if name.endswith((".xml", ".rels"))
        }
    sheet = next(text for name, text in parts.items() if "worksheets/sheet" in name)
    assert "<f>" not in sheet and "<hyperlink" not in sheet
    assert not [name for name, text in parts.items() if 'TargetMode="External"' in text]
    made = as_csv(frame).decode()
    for heading, cell in zip(*pl.read_csv(made.encode(), has_header=False).rows(), strict=True):
        for said in (heading, cell):
            assert not re.match(r"[ \xa0\u3000]*[=+\-@＝＋－＠\t]", said), said
