"""A table as a phone shows it: a card a row, the money first."""

import re
from collections.abc import Mapping
from datetime import date
from html import escape
from typing import Any, Final

import polars as pl

from pricing.words.language.reader import day_words, number_words

AT_ONCE: Final = 5
"""Cards that stand open; the others unfold."""

LONG: Final = 160
"""Characters of a cell that a card folds."""

_MONEY: Final = re.compile(r"\([A-Z]{3}[,) ]")
"""A heading that names a currency."""

_ENDS: Final = ("low", "mid", "high")
"""How the columns of a range end; a card says low and high together."""

_NAMES: Final[tuple[str, ...]] = ("make", "model", "variant")
"""Columns that name a car together."""

_ASIDE: Final = ("record_id",)
"""Columns that a card has no room for; they are in the file to take along."""

_PLACES: Final = re.compile(r"%(\+?),?\.?(\d*)[dfg]")


def as_cards(frame: pl.DataFrame, columns: Mapping[str, Any]) -> str:
    """Rows as a list of cards: the money, what the row is of, and the rest; ``columns`` as Streamlit's tables
    take them: a heading, a column's settings, or None for a column that is not shown.

    >>> frame = pl.DataFrame({"variant": ["de luxe"], "price": [4650.2]})
    >>> as_cards(frame, {"variant": "Variant", "price": "Price (EUR)"})
    '<ul class="rows"><li><strong>4,650 <small>Price (EUR)</small></strong><b>de luxe</b></li></ul>'
    """
    labels = {}
    for name in frame.columns:
        settings = columns.get(name, name)
        if settings is not None and name not in _ASIDE:
            labels[name] = settings if isinstance(settings, str) else str(settings.get("label") or name)
    laid = _laid(frame, labels)
    forms = {name: _form(columns.get(name)) for name in labels}
    cards = [_card(row, labels, forms, *laid) for row in frame.iter_rows(named=True)]
    shown = f'<ul class="rows">{"".join(cards[:AT_ONCE])}</ul>'
    if len(cards) <= AT_ONCE:
        return shown
    more = f'<ul class="rows">{"".join(cards[AT_ONCE:])}</ul>'
    return f'{shown}<details class="rows"><summary>{len(cards) - AT_ONCE} more</summary>{more}</details>'


def _laid(frame: pl.DataFrame, labels: Mapping[str, str]) -> tuple[str | None, list[str], list[str]]:
    """The column of the money that stands first, those that say what a row is of, and the ranges (what their
    columns' names begin with)."""
    ranges = [
        name.removesuffix("mid")
        for name in labels
        if name.endswith("mid") and all(f"{name.removesuffix('mid')}{end}" in labels for end in _ENDS)
    ]
    ends = {f"{before}{end}" for before in ranges for end in ("low", "high")}
    money = [
        name for name, label in labels.items() if _MONEY.search(label) and frame.schema[name].is_numeric()
    ]
    rest = [name for name in labels if name not in money]
    named = [name for name in _NAMES if name in rest]
    if named[:2] != list(_NAMES[:2]):
        named = rest[:1] if rest and frame.schema[rest[0]] == pl.String else []
    return next((name for name in money if name not in ends), None), named, ranges


def _card(
    row: Mapping[str, Any],
    labels: Mapping[str, str],
    forms: Mapping[str, str | None],
    money: str | None,
    named: list[str],
    ranges: list[str],
) -> str:
    def told(name: str) -> str:
        return escape(_shown(row[name], forms[name]))

    first = ""
    if money is not None and row[money] is not None:
        first = f"<strong>{told(money)} <small>{escape(labels[money])}</small></strong>"
    title = " ".join(told(name) for name in named if row[name] not in (None, ""))
    spans = {f"{before}low": f"{before}high" for before in ranges}
    rest = []
    for name, label in labels.items():
        if name == money or name in named or name in spans.values() or row[name] in (None, "", []):
            continue
        words, value = label, told(name)
        if name in spans:
            if row[name] == row[spans[name]]:
                continue
            words = re.sub("mid(dle)?", "low to high", labels[f"{name.removesuffix('low')}mid"], flags=re.I)
            value += f" to {told(spans[name])}"
        if len(value) > LONG:
            rest.append(f"<details><summary>{escape(words)}</summary>{value}</details>")
        else:
            rest.append(f"<div><span>{escape(words)}</span> {value}</div>")
    return f"<li>{first}{f'<b>{title}</b>' if title else ''}{''.join(rest)}</li>"


def _form(settings: Any) -> str | None:
    return (
        None
        if settings is None or isinstance(settings, str)
        else (settings.get("type_config") or {}).get("format")
    )


def _shown(value: Any, form: str | None) -> str:
    """A cell as text, its number by the column's own form."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return day_words(value)
    if isinstance(value, list):
        return ", ".join(str(part) for part in value)
    if not isinstance(value, int | float) and not hasattr(value, "quantize"):
        return str(value)
    told = _PLACES.fullmatch(form or "")
    if form == "%d":
        return f"{value:.0f}"
    if told is None:
        return number_words(value)
    sign = "+" if told[1] and value > 0 else ""
    return f"{sign}{number_words(value, int(told[2] or 0))}"
