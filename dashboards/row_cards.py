"""A table as a phone shows it: a card a row, the money first."""

import re
from collections.abc import Mapping
from datetime import date
from html import escape
from typing import Any, Final

import polars as pl

from pricing.words.reader import day_words, number_words

AT_ONCE: Final = 8
"""Cards that stand open; the others unfold."""

_MONEY: Final = re.compile(r"\([A-Z]{3}[,) ]")
"""A heading that names a currency."""

_PLACES: Final = re.compile(r"%(\+?),?\.?(\d*)[dfg]")


def as_cards(frame: pl.DataFrame, columns: Mapping[str, Any]) -> str:
    """Rows as a list of cards; ``columns`` as Streamlit's tables take them: a heading, a column's settings,
    or None for a column that is not shown.

    >>> frame = pl.DataFrame({"variant": ["de luxe"], "price": [4650.2]})
    >>> as_cards(frame, {"variant": "Variant", "price": "Price (EUR)"})
    '<ul class="rows"><li><strong>Price (EUR) 4,650</strong><span>Variant</span> de luxe</li></ul>'
    """
    labels = {}
    for name in frame.columns:
        settings = columns.get(name, name)
        if settings is not None:
            labels[name] = settings if isinstance(settings, str) else str(settings.get("label") or name)
    money = next((name for name, label in labels.items() if _MONEY.search(label)), None)
    forms = {name: _form(columns.get(name)) for name in labels}
    cards = [_card(row, labels, forms, money) for row in frame.iter_rows(named=True)]
    shown = f'<ul class="rows">{"".join(cards[:AT_ONCE])}</ul>'
    if len(cards) <= AT_ONCE:
        return shown
    more = f'<ul class="rows">{"".join(cards[AT_ONCE:])}</ul>'
    return f'{shown}<details class="rows"><summary>{len(cards) - AT_ONCE} more</summary>{more}</details>'


def _card(
    row: Mapping[str, Any], labels: Mapping[str, str], forms: Mapping[str, str | None], money: str | None
) -> str:
    first = ""
    if money is not None and row[money] is not None:
        first = f"<strong>{escape(labels[money])} {escape(_shown(row[money], forms[money]))}</strong>"
    rest = [
        f"<span>{escape(label)}</span> {escape(_shown(row[name], forms[name]))}"
        for name, label in labels.items()
        if name != money and row[name] not in (None, "", [])
    ]
    return f"<li>{first}{'<br>'.join(rest)}</li>"


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
