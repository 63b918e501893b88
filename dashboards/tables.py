"""Tables as every page shows them: columns by their headings, on a phone a card a row, the money first."""

import re
from collections.abc import Mapping
from datetime import date
from html import escape
from typing import Any, Final, Literal, NamedTuple

import polars as pl
import streamlit as st

from dashboards.downloads import offer_table
from pricing.words.language.reader import day_form, day_words, number_words

AS_IT_IS: Final = ""
"""A form: neither by the visitor's locale nor by another."""

AT_ONCE: Final = 5
"""Cards that stand open; the others unfold."""

LONG: Final = 160
"""Characters of a cell that a card folds."""

_PHONE_ROWS: Final = 40
"""Rows of a table that a phone shows, as cards; all are in the files to take along."""

_MONEY: Final = re.compile(r"\([A-Z]{3}[,) ]")
"""A heading that names a currency."""

_NAMES: Final[tuple[str, ...]] = ("make", "model", "variant")
"""Columns that name a car together."""

_ASIDE: Final = ("record_id",)
"""Columns that a card has no room for; they are in the file to take along."""

_PLACES: Final = re.compile(r"%(\+?),?\.?(\d*)[dfg]")


class TableColumn(NamedTuple):
    """How a column stands in a table: under which heading, in which form (of ``printf``), how wide."""

    heading: str
    form: str | None = None
    """Without one numbers, days and moments are written as the visitor's locale does."""

    width: Literal["small", "medium", "large"] | None = None


Columns = Mapping[str, str | TableColumn]
"""Columns of a frame, in order, each with its heading or all that is said of it."""

_HEADINGS: Final[dict[str, TableColumn]] = {
    "year": TableColumn("Year", "%d"),
    "revision": TableColumn("Revision", "%d"),
    "row": TableColumn("Row", "%d"),
    "odometer_km": TableColumn("Odometer (km)"),
    "source_ref": TableColumn("Reference"),
    "record_id": TableColumn("Record"),
}
"""Columns that mean the same wherever they stand, and are not called by their names alone."""


def headings(*names: str) -> dict[str, TableColumn]:
    """Columns under the headings that they have everywhere: their names in words, as far as nothing else is
    said of them.

    >>> headings("year", "condition_band")["condition_band"].heading
    'Condition band'
    """
    return {name: _HEADINGS.get(name, TableColumn(name.replace("_", " ").capitalize())) for name in names}


def show_table(
    frame: pl.DataFrame, name: str, columns: Columns, *, every: pl.DataFrame | None = None, **options: Any
) -> Any:
    """The named columns of a frame as a table, and as CSV and as a workbook to take along (``every``: with
    rows or columns not shown).

    In both, text that a spreadsheet would run as a formula is made harmless.
    """
    described = {
        key: TableColumn(column) if isinstance(column, str) else column for key, column in columns.items()
    }
    # A frame out of a cache is others' too, and two threads that turn one and the same object into pandas, as
    # Streamlit does, wait for each other for ever: its lock is held while the interpreter is waited for.
    # So what is handed over is a frame of this run alone, which a selection is.
    rows = frame.select(*described)
    with st.container(key=f"wide-{name}"):
        event = st.dataframe(
            rows, hide_index=True, placeholder="-", key=f"table-{name}", **options,
            column_config={key: _settings(column, rows.schema[key]) for key, column in described.items()},
        )  # fmt: skip
    st.html(as_cards(rows.head(_PHONE_ROWS), described))
    offer_table(name, rows if every is None else every)
    return event


def _settings(column: TableColumn, kind: pl.DataType) -> Any:
    heading, form, width = column
    config, day = st.column_config, day_form("D", "MMM", "YYYY")
    if form == AS_IT_IS:
        return config.Column(heading, width=width)
    if kind.is_numeric():
        return config.NumberColumn(heading, format=form or "localized", width=width)
    if isinstance(kind, pl.Datetime):
        return config.DatetimeColumn(heading, format=f"{day}, HH:mm", width=width)
    if kind == pl.Date:
        return config.DateColumn(heading, format=day, width=width)
    return config.Column(heading, width=width)


def as_cards(frame: pl.DataFrame, columns: Mapping[str, TableColumn]) -> str:
    """Rows as a list of cards: the money, what the row is of, and the rest.

    >>> frame = pl.DataFrame({"variant": ["de luxe"], "price": [4650.2]})
    >>> as_cards(frame, {"variant": TableColumn("Variant"), "price": TableColumn("Price (EUR)")})
    '<ul class="rows"><li><strong>4,650 <small>Price (EUR)</small></strong><b>de luxe</b></li></ul>'
    """
    columns = {name: column for name, column in columns.items() if name not in _ASIDE}
    layout = _layout(frame, columns)
    cards = [_card(row, columns, *layout) for row in frame.iter_rows(named=True)]
    first = f'<ul class="rows">{"".join(cards[:AT_ONCE])}</ul>'
    if len(cards) <= AT_ONCE:
        return first
    more = f'<ul class="rows">{"".join(cards[AT_ONCE:])}</ul>'
    return f'{first}<details class="rows"><summary>{len(cards) - AT_ONCE} more</summary>{more}</details>'


def _layout(
    frame: pl.DataFrame, columns: Mapping[str, TableColumn]
) -> tuple[str | None, list[str], dict[str, tuple[str, str]]]:
    """The column of the money that stands first, those that say what a row is of, and the low end of each
    range with its high end and what both are called."""
    ranges = {}
    for middle, column in columns.items():
        low, high = (f"{middle.removesuffix('mid')}{end}" for end in ("low", "high"))
        if middle.endswith("mid") and {low, high} <= columns.keys():
            ranges[low] = (high, re.sub("mid(dle)?", "low to high", column.heading, flags=re.IGNORECASE))
    ends = {*ranges, *(high for high, _ in ranges.values())}
    money = [
        name
        for name, column in columns.items()
        if _MONEY.search(column.heading) and frame.schema[name].is_numeric()
    ]
    rest = [name for name in columns if name not in money]
    names = [name for name in _NAMES if name in rest]
    if names[:2] != list(_NAMES[:2]):
        names = rest[:1] if rest and frame.schema[rest[0]] == pl.String else []
    return next((name for name in money if name not in ends), None), names, ranges


def _card(
    row: Mapping[str, Any],
    columns: Mapping[str, TableColumn],
    money: str | None,
    names: list[str],
    ranges: dict[str, tuple[str, str]],
) -> str:
    cells = {name: escape(_cell(row[name], column.form)) for name, column in columns.items()}
    first = ""
    if money is not None and row[money] is not None:
        first = f"<strong>{cells[money]} <small>{escape(columns[money].heading)}</small></strong>"
    title = " ".join(cells[name] for name in names if row[name] not in (None, ""))
    left_out = {money, *names, *(high for high, _ in ranges.values())}
    rest = []
    for name, column in columns.items():
        if name in left_out or row[name] in (None, "", []):
            continue
        heading, value = column.heading, cells[name]
        if name in ranges:
            high, heading = ranges[name]
            if row[name] == row[high]:
                continue
            value += f" to {cells[high]}"
        if len(value) > LONG:
            rest.append(f"<details><summary>{escape(heading)}</summary>{value}</details>")
        else:
            rest.append(f"<div><span>{escape(heading)}</span> {value}</div>")
    return f"<li>{first}{f'<b>{title}</b>' if title else ''}{''.join(rest)}</li>"


def _cell(value: Any, form: str | None) -> str:
    """A cell as text, its number by the column's own form."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return day_words(value)
    if isinstance(value, list):
        return ", ".join(str(part) for part in value)
    if not isinstance(value, int | float) and not hasattr(value, "quantize"):
        return str(value)
    places = _PLACES.fullmatch(form or "")
    if form == "%d":
        return f"{value:.0f}"
    if places is None:
        return number_words(value)
    sign = "+" if places[1] and value > 0 else ""
    return f"{sign}{number_words(value, int(places[2] or 0))}"
