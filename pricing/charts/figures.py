"""The figures behind a chart as tables: what a pointer is told of each mark, for whoever uses none."""

import re
from collections.abc import Iterator
from typing import Any, Final

import polars as pl

_PARTS: Final = ("layer", "vconcat", "hconcat", "concat")
_DIGITS: Final = 4
"""Significant digits of a number for which the chart names no format."""


def figures(chart: Any) -> list[pl.DataFrame]:
    """A table for each table of data that the chart draws marks from and that has two columns to show, in the
    order of the layers; columns bear the names, and numbers the decimals, that the chart shows a pointer, or
    has on its axes.

    >>> import altair as alt
    >>> sales = pl.DataFrame({"sold": [2001], "paid": [10.26]})
    >>> tips = [alt.Tooltip("sold:O"), alt.Tooltip("paid:Q", title="paid (EUR)", format=".1f")]
    >>> figures(alt.Chart(sales).mark_point().encode(x="sold:Q", tooltip=tips))[0].to_dicts()
    [{'sold': 2001, 'paid (EUR)': 10.3}]
    """
    drawn = chart.to_dict(validate=False)
    named: dict[str, dict[str, tuple[str, str]]] = {}
    layers = [(data, encoding, _tips(encoding)) for data, encoding in _layers(drawn, None)]
    pointed = {data for data, _, tips in layers if tips}
    for data, encoding, tips in layers:
        ends = [] if data in pointed else [encoding.get(name, {}) for name in ("x", "y")]
        for channel in tips or ends:
            field, title = channel.get("field"), channel.get("title")
            if field and (tips or title):
                named.setdefault(data, {}).setdefault(field, (title or field, channel.get("format", "")))
    tables = []
    for data, columns in named.items():
        rows = pl.DataFrame(drawn["datasets"][data], infer_schema_length=None)
        values = {
            title: _formatted(rows[field], form).alias(title)
            for field, (title, form) in columns.items()
            if field in rows.columns and not rows[field].is_null().all()
        }
        if len(values) > 1:
            tables.append(pl.DataFrame(list(values.values())).unique(maintain_order=True))
    return tables


def _tips(encoding: dict[str, Any]) -> list[dict[str, Any]]:
    tips = encoding.get("tooltip") or []
    return tips if isinstance(tips, list) else [tips]


def _layers(part: dict[str, Any], data: str | None) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every layer: the name of its data, and its encoding."""
    own = part.get("data", {}).get("name", data) if isinstance(part.get("data"), dict) else data
    if own is not None and "encoding" in part:
        yield own, part["encoding"]
    for name in _PARTS:
        for inner in part.get(name, ()):
            yield from _layers(inner, own)


def _formatted(column: pl.Series, form: str) -> pl.Series:
    """Values with the decimals of a format of d3, as the chart writes them."""
    if not column.dtype.is_float():
        moment = column.dtype == pl.String and column.str.contains(r"^\d{4}-\d{2}-\d{2}T").all()
        return column.str.slice(0, 10) if moment else column
    decimals = re.search(r"\.(\d+)([f%])", form)
    if decimals is None:
        return column.round_sig_figs(_DIGITS)
    if decimals[2] == "%":
        return (100 * column).round(int(decimals[1])).cast(pl.String) + "%"
    rounded = column.round(int(decimals[1]))
    return rounded.cast(pl.Int64) if decimals[1] == "0" else rounded
