"""Kept cars side by side: a row a fact, a column a car, what differs marked by more than colour."""

from collections.abc import Sequence
from html import escape
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards.exhibits import offer_table
from pricing.decisions.kept_car import KeptCarToday
from pricing.words.kept_cars import comparison

MOST_COMPARED: Final = 4


def show_side_by_side(todays: list[KeptCarToday]) -> None:
    """Two to four cars of those that are kept."""
    if len(todays) < 2:
        return
    st.header("Side by side")
    by_name = {one.kept.name: one for one in todays}
    chosen = st.multiselect(
        "Which cars", list(by_name), list(by_name)[:2], max_selections=MOST_COMPARED, key="compared"
    )
    if len(chosen) < 2:
        st.info("Choose two to four cars: they are then shown side by side.")
        return
    rows = comparison([by_name[name] for name in chosen])
    st.html(as_comparison(rows, chosen))
    offer_table("side by side", pl.DataFrame(rows))


def as_comparison(rows: Sequence[dict[str, Any]], names: Sequence[str]) -> str:
    """The rows of ``comparison`` as a table, which a phone shows fact by fact.

    >>> row = {"fact": "Year", "differs": "differs", "a": "1966", "b": "1971"}
    >>> '<small>differs</small>' in as_comparison([row], ["a", "b"])
    True
    """
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in names)
    body = "".join(_row(row, names) for row in rows)
    return f'<table class="side"><thead><tr><td></td>{heads}</tr></thead><tbody>{body}</tbody></table>'


def _row(row: dict[str, Any], names: Sequence[str]) -> str:
    mark = " <small>differs</small>" if row["differs"] else ""
    cells = "".join(f'<td data-car="{escape(name)}">{escape(str(row[name]))}</td>' for name in names)
    kind = ' class="differs"' if row["differs"] else ""
    return f'<tr{kind}><th scope="row">{escape(row["fact"])}{mark}</th>{cells}</tr>'
