"""Charts and drawings as every page shows them: with what they say in words, and to take along."""

import base64
import re
from collections.abc import Mapping
from dataclasses import asdict
from html import escape
from typing import Any, Final

import altair as alt
import polars as pl
import streamlit as st
import vl_convert
from altair.utils import schemapi

from dashboards.downloads import offer_kinds
from dashboards.tables import AS_IT_IS, TableColumn, show_table
from dashboards.text import show_folded
from pricing.charts.design import DARK, IN_THE_DARK, LIGHT, PAPER, TYPEFACES, chart_theme
from pricing.charts.drawing import Picture, drawable
from pricing.charts.figures import figures
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import number_marks

schemapi.disable_debug_mode()  # else each part of a chart is held against the schema as it is made

PICTURE_SCALE = 2.0
"""Points of a PNG for one of the page."""

_SVG: Final = "http://www.w3.org/2000/svg"


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
    event = st.vega_lite_chart(specification, alt=caption, key=f"chart-{name}", theme=None, **options)
    st.caption(escaped(caption))
    show_folded(
        "The picture as a table", f"figures-{name}", lambda: _show_figures(chart, name), type="compact"
    )
    offer_kinds("Keep the picture", name, chart, {"PNG": _png, "SVG": _svg})
    return event


def _show_figures(chart: alt.TopLevelMixin | Picture, name: str) -> None:
    for place, table in enumerate(figures(chart), start=1):
        show_table(table, f"{name} {place}", {name: TableColumn(name, AS_IT_IS) for name in table.columns})


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


def chosen_of(event: Any, selection: str, field: str) -> str | None:
    """The value that a selection of a chart has of a field, if something is selected."""
    selected = (event or {}).get("selection", {}).get(selection) if hasattr(event, "get") else None
    return str(selected[0][field]) if selected and field in selected[0] else None


def _specification(chart: alt.TopLevelMixin | Picture) -> dict[str, Any]:
    """A chart in Vega-Lite's terms. It is not held against their schema whenever a page is drawn, which takes
    longer than all the rest: that is for the tests of the charts.

    Its data are named by their place, and not by what they hold: a chart of another car is then the same to
    the browser, which puts other data into the picture it has in place of drawing up a new one.
    """
    if isinstance(chart, Picture):
        layout, tables = dict(chart.layout), chart.tables
    else:
        layout = chart.to_dict(validate=False)
        rows = layout.pop("datasets").items()
        tables = {name: pl.DataFrame(each, infer_schema_length=None) for name, each in rows}
    names = {name: f"table {place}" for place, name in enumerate(tables, start=1)}
    layout = layout | {"config": chart_theme() | chart_locale()}
    drawn = _reworded(layout, names | (IN_THE_DARK if st.context.theme.type == "dark" else {}))
    return drawn | {"datasets": {names[name]: table for name, table in tables.items()}}


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
    vl_convert.register_font_directory(str(TYPEFACES))
    return drawable(chart.to_dict(validate=False)) | {"config": chart_theme() | {"background": PAPER}}
