"""Dates whose day, month and year stand in columns of their own."""

from collections.abc import Callable
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import CAR, meanings, plain
from pricing.intake.written.dates import month_named, read_date

_PART_HEADINGS: Final = {
    "event_date": {"day", "tag", "jour", "giorno", "dia", "dag"},
    "event_month": {"month", "monat", "mois", "mese", "mes", "maand", "manad", "mon", "mth"},
    "event_year": {"year", "jahr", "annee", "anno", "ano", "jaar", "ar", "year sold", "sale year"},
}
_PART_CELLS: Final[dict[str, Callable[[str], bool]]] = {
    "event_date": lambda cell: cell.isdecimal() and 1 <= int(cell) <= 31,
    "event_month": lambda cell: month_named(cell) is not None,
    "event_year": lambda cell: read_date(cell) is not None and len(cell) == 4,
}


def date_in_parts(text: pl.DataFrame) -> dict[str, str]:
    """Columns of the month and the year of the event, and of its day, where another is the car's year."""
    named = {name: meanings(name) for name in text.columns}
    whole = [name for name, ours in named.items() if ours.get("event_date", 0.0) > 0.9]
    parts: dict[str, str] = {}
    for name in text.columns:
        cells = text[name].drop_nulls().str.strip_chars()
        ours = next((ours for ours, words in _PART_HEADINGS.items() if plain(name) in words), None)
        if (
            ours is not None
            and ours not in parts.values()
            and len(cells)
            and all(map(_PART_CELLS[ours], cells))
        ):
            parts[name] = ours
    years = [name for name in text.columns if named[name].keys() & {"year", CAR} and name not in parts]
    if not {"event_month", "event_year"} <= set(parts.values()) or not years or set(whole) - set(parts):
        return {}
    if "event_date" in parts.values():
        return parts
    return {name: "event_date" if ours == "event_month" else ours for name, ours in parts.items()}
