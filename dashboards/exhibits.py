"""Charts and tables as every page shows them: with what they say in words, and to take along."""

import base64
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from html import escape
from typing import Any, Final

import altair as alt
import polars as pl
import streamlit as st
import vl_convert
import xlsxwriter
from altair.utils import schemapi

from dashboards.row_cards import as_cards
from pricing.charts.design import DARK, IN_THE_DARK, LIGHT, PAPER, TYPEFACES, chart_theme
from pricing.charts.drawing import Picture, drawable
from pricing.charts.figures import figures
from pricing.intake.exports import neutral_names, neutralised
from pricing.reports.sheet import Sheet, sheet_html, sheet_pdf
from pricing.words.language.locale import LOCALES, PLAIN, LocaleWords
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import day_form, number_marks

schemapi.disable_debug_mode()  # else each part of a chart is held against the schema as it is made

PAPER_WORDS: Final = {"a4": "A4", "letter": "Letter"}

PICTURE_SCALE = 2.0
"""Points of a PNG for one of the page."""

_SVG: Final = "http://www.w3.org/2000/svg"
_PHONE_ROWS: Final = 40
"""Rows of a table that a phone shows, as cards; all are in the files to take along."""


def show_chart(
    chart: alt.TopLevelMixin | Picture, caption: str, name: str, *, selects: str | None = None
) -> Any:
    """A chart under its title with its sentence, which is also what a screen reader says; as a table, which
    is made when it is opened; as PNG and SVG to take along. ``selects`` names a selection of the chart, whose
    state is given back."""
    specification = _specification(chart)
    title = specification.pop("title", None)
    if title:
        words = title if isinstance(title, dict) else {"text": title}
        under = words.get("subtitle", "")
        st.markdown(
            f"**{escaped(str(words['text']))}**" + (f"  \n:small[{escaped(str(under))}]" if under else "")
        )
    options: dict[str, Any] = {} if selects is None else {"on_select": "rerun", "selection_mode": selects}
    shown = st.vega_lite_chart(specification, alt=caption, key=f"chart-{name}", theme=None, **options)
    st.caption(escaped(caption))
    folded = st.expander("The picture as a table", type="compact", key=f"figures-{name}", on_change="rerun")
    if folded.open:
        with folded:
            for place, table in enumerate(figures(chart), start=1):
                show_table(table, f"{name} {place}", {column: column for column in table.columns})
    _offer("Keep the picture", name, chart, {"PNG": _png, "SVG": _svg})
    return shown


def show_drawing(drawing: str, words: str) -> None:
    """A drawing (SVG in the variables of the style sheet) with what it shows in words. Streamlit takes SVG
    out of HTML, so it is shown as a picture, which takes light or dark from the page it stands on."""
    light, dark = (
        "".join(f"--{name}:{colour};" for name, colour in asdict(palette).items())
        for palette in (LIGHT, DARK)
    )
    style = f"<style>:root{{{light}}}@media (prefers-color-scheme:dark){{:root{{{dark}}}}}</style>"
    drawn = drawing.replace(">", f">{style}", 1).replace("<svg", f'<svg xmlns="{_SVG}"', 1)
    width = re.search(r"max-width:[\d.]+rem", drawing)
    content = base64.b64encode(drawn.encode()).decode()
    st.html(
        f'<img alt="{escape(words)}" style="display:block;width:100%;{width[0] if width else ""}" '
        f'src="data:image/svg+xml;base64,{content}">'
    )


def chosen_of(shown: Any, selection: str, field: str) -> str | None:
    """The value that a selection of a shown chart has of a field, if something is selected."""
    selected = (shown or {}).get("selection", {}).get(selection) if hasattr(shown, "get") else None
    return str(selected[0][field]) if selected and field in selected[0] else None


def show_table(
    frame: pl.DataFrame,
    name: str,
    columns: Mapping[str, Any],
    *,
    every: pl.DataFrame | None = None,
    **options: Any,
) -> Any:
    """A table, and as CSV and as a workbook to take along (``every``: with rows or columns not shown).

    In both, text that a spreadsheet would run as a formula is made harmless.
    """
    given = frame if every is None else every
    # A frame out of a cache is others' too, and two threads that turn one and the same object into pandas, as
    # Streamlit does, wait for each other for ever: its lock is held while the interpreter is waited for.
    with st.container(key=f"wide-{name}"):
        shown = st.dataframe(
            frame.clone(), hide_index=True, placeholder="-", column_config=dict(columns), key=f"table-{name}",
            **options,
        )  # fmt: skip
    st.html(as_cards(frame.head(_PHONE_ROWS), columns))
    offer_table(name, given)
    return shown


def day_column(label: str) -> Any:
    """A column of days, as the visitor's locale writes them."""
    return st.column_config.DateColumn(label, format=day_form("D", "MMM", "YYYY"))


def moment_column(label: str) -> Any:
    """A column of moments, as the visitor's locale writes them."""
    return st.column_config.DatetimeColumn(label, format=f"{day_form('D', 'MMM', 'YYYY')}, HH:mm")


def offer_table(name: str, frame: pl.DataFrame) -> None:
    """A table to take along."""
    _offer("Keep the table", name, frame, {"CSV": as_csv, "xlsx": as_workbook})


def _offer(words: str, name: str, shown: Any, kinds: Mapping[str, Callable[[Any], bytes]]) -> None:
    """What is shown, to take along as a file of each kind, written when it is asked for."""
    with st.popover(words, type="tertiary", key=f"keep-{name}"), st.container(horizontal=True):
        for kind, write in kinds.items():
            st.download_button(
                f"As {kind}",
                partial(write, shown),
                f"{name}.{kind.lower()}",
                on_click="ignore",
                key=f"keep-{name}-{kind}",
            )


def sheet_language() -> LocaleWords:
    """The language in which sheets to take along are written, as picked on any page that offers one."""
    as_page = "as this page"
    picked = st.selectbox(
        "Language of the sheet",
        (as_page, *LOCALES),
        format_func=lambda name: name if name == as_page else LocaleWords.of(name).name,
        key="sheet_locale",
        persist_state="session",
        width=280,
    )
    return PLAIN if picked == as_page else LocaleWords.of(picked)


def offer_sheet(made: Callable[[LocaleWords], Sheet], words: str, name: str) -> None:
    """A sheet to take along in a language that is picked, as a page to print and as a PDF of either paper."""
    sheet = made(sheet_language())
    with st.container(horizontal=True):
        st.download_button(
            f"{words} (page to print)", sheet_html(sheet), f"{name}.html", "text/html", type="primary",
            on_click="ignore", key=f"sheet-{name}-html",
        )  # fmt: skip
        for paper, shown in PAPER_WORDS.items():
            st.download_button(
                f"PDF, {shown}",
                lambda paper=paper: sheet_pdf(sheet, paper),  # type: ignore[misc]
                f"{name}_{paper}.pdf",
                "application/pdf",
                on_click="ignore",
                key=f"sheet-{name}-{paper}",
            )


def as_csv(frame: pl.DataFrame) -> bytes:
    """A table as CSV that a spreadsheet reads as data.

    >>> as_csv(pl.DataFrame({"note": ["=1+1"], "options": [["overdrive", "tow_bar"]]})).decode()
    'note,options\\n\\'=1+1,"overdrive, tow_bar"\\n'
    """
    return _flat(frame).write_csv().encode()


def as_workbook(frame: pl.DataFrame) -> bytes:
    """A table as a workbook in which no text is a formula or a link."""
    written = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}
    with xlsxwriter.Workbook(written, options) as book:
        _flat(frame).write_excel(book, "table", autofit=True)
    return written.getvalue()


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists as text, and text made harmless."""
    lists = [name for name, kind in frame.schema.items() if isinstance(kind, pl.List)]
    texts = frame.with_columns(pl.col(lists).cast(pl.List(pl.String)).list.join(", "))
    return neutral_names(texts.with_columns(neutralised(pl.col(pl.String))))


def _specification(chart: alt.TopLevelMixin | Picture) -> dict[str, Any]:
    """A chart in Vega-Lite's terms. It is not held against their schema whenever a page is drawn, which takes
    longer than all the rest: that is for the tests of the charts.

    Its data are named by their place, and not by what they hold: a chart of another car is then the same to
    the browser, which puts other data into the picture it has in place of drawing up a new one.
    """
    found = dict(chart.layout) if isinstance(chart, Picture) else chart.to_dict(validate=False)
    found["config"] = chart_theme() | chart_locale()
    tables = chart.tables if isinstance(chart, Picture) else _tables(found.pop("datasets"))
    names = {name: f"table {place}" for place, name in enumerate(tables, start=1)}
    found = _reworded(found, names | (IN_THE_DARK if st.context.theme.type == "dark" else {}))
    return found | {"datasets": {names[name]: table for name, table in tables.items()}}


def _tables(datasets: Mapping[str, list[dict[str, Any]]]) -> dict[str, pl.DataFrame]:
    return {name: pl.DataFrame(rows, infer_schema_length=None) for name, rows in datasets.items()}


def chart_locale() -> dict[str, Any]:
    """How numbers of a chart are written, in Vega's terms: as the reader's locale has them."""
    decimal, thousands = number_marks()
    if (decimal, thousands) == (".", ","):
        return {}
    marks = {"decimal": decimal, "thousands": thousands, "grouping": [3], "currency": ["", ""]}
    return {"locale": {"number": marks}}


def _reworded(part: Any, words: Mapping[str, str]) -> Any:
    """A part of a chart with some of its words, be they names or colours, in place of others."""
    if isinstance(part, dict):
        return {name: _reworded(inner, words) for name, inner in part.items()}
    if isinstance(part, list):
        return [_reworded(inner, words) for inner in part]
    return words.get(part, part) if isinstance(part, str) else part


def _png(chart: alt.TopLevelMixin | Picture) -> bytes:
    return bytes(vl_convert.vegalite_to_png(_drawn(chart), scale=PICTURE_SCALE))


def _svg(chart: alt.TopLevelMixin | Picture) -> bytes:
    return str(vl_convert.vegalite_to_svg(_drawn(chart))).encode()


def _drawn(chart: alt.TopLevelMixin | Picture) -> dict[str, Any]:
    """A chart as a picture by itself has it, in the project's typefaces."""
    vl_convert.register_font_directory(str(TYPEFACES))
    found: dict[str, Any] = drawable(chart.to_dict(validate=False))
    return found | {"config": chart_theme() | {"background": PAPER}}
