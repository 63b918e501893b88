"""What became of a load, what a mapping file may hold, and how it reads dates, in plain words."""

import json
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, Final

import polars as pl

from pricing.intake.mappings.mapping import Mapping as Columns
from pricing.intake.written.table import DATE_COLUMNS
from pricing.store.records.loading import LoadReport
from pricing.words.language.reader import day_words
from pricing.words.sentences import name_words, option_words

NAMES_TOLD: Final = 8
"""Names that may be misspelt of which a load tells; all of them stand in the list of names."""


def load_sentence(report: LoadReport, *, dry_run: bool = False) -> str:
    """How many rows were read and what became of them, or would have; the four numbers add up.

    >>> load_sentence(LoadReport(3, 1, 1, 1, "batch-0002", {"year_out_of_range": 1}, (), 0))
    '3 rows read: 1 accepted, 1 rejected, 1 already known (batch-0002)'
    >>> load_sentence(LoadReport(2, 0, 0, 2, None, {}, (), 0))
    '2 rows read: 0 accepted, 0 rejected, 2 already known; nothing was new, and the market is as it was'
    >>> load_sentence(LoadReport(2, 1, 0, 1, "batch-0002", {}, (), 0), dry_run=True)
    '2 rows read: 1 accepted, 0 rejected, 1 already known (a dry run: the market is as it was)'
    """
    counts = (
        f"{report.read:,} rows read: {report.accepted:,} accepted, {report.rejected:,} rejected, "
        f"{report.known:,} already known"
    )
    if dry_run:
        return f"{counts} (a dry run: the market is as it was)"
    if report.batch_id is None:
        return f"{counts}; nothing was new, and the market is as it was"
    return f"{counts} ({report.batch_id})"


def told_sentences(report: LoadReport) -> tuple[str, ...]:
    """What else there is to know of a load: rows that wait already, cells that said something themselves,
    cells that could not be read.

    >>> told = {"not_known": {"odometer_km": 2}, "said_otherwise": {"currency SEK": 1}, "unseen": {"make": 3}}
    >>> for sentence in told_sentences(LoadReport(3, 3, 0, 0, "batch-0002", {}, (), 0, **told)):
    ...     print(sentence)
    cells that say otherwise than the column or the file, and were believed: currency SEK (1)
    cells that could not be read, not known now and kept in the notes: odometer (2)
    cells that held characters which show nothing, and were kept without them: make (3)
    """
    sentences = [f"doubtful: {doubt}" for doubt in report.doubts]
    for file, source in report.recognised.items():
        sentences.append(f"{file} is read as one of {source!r}, by its headings")
    if report.waiting:
        sentences.append(f"{report.waiting:,} of the known rows wait in quarantine: pricing quarantine")
    for name, what in _COUNTED.items():
        ranked = _ranked(getattr(report, name))
        if ranked:
            sentences.append(f"{what}: {', '.join(f'{words} ({count:,})' for words, count in ranked)}")
    return tuple(sentences)


_COUNTED: Final = {
    "set_aside": "rows that are no records, and were not read",
    "said_otherwise": "cells that say otherwise than the column or the file, and were believed",
    "not_known": "cells that could not be read, not known now and kept in the notes",
    "unseen": "cells that held characters which show nothing, and were kept without them",
}
"""What is counted of a load, by the field of its report."""


def _ranked(counts: Mapping[str, int]) -> list[tuple[str, int]]:
    """Codes in words with their counts, the most first."""
    ranked = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    return [(option_words(code), count) for code, count in ranked]


def refused_table(report: LoadReport) -> pl.DataFrame:
    """The first rows that a dry run would reject: file, row, why, and its cells.

    >>> from pricing.store.records.loading import RefusedRow
    >>> rules = ("year_out_of_range", "amount_unreadable")
    >>> row = RefusedRow("hall.csv", 4, rules, '{"Built":"1769","Lot":null}')
    >>> refused_table(LoadReport(2, 1, 1, 0, "batch-0002", {}, (), 0, refused=(row,))).rows()
    [('hall.csv', 4, 'year out of range; amount unreadable', 'Built 1769')]
    """
    rows = [
        (row.file, row.row_number, "; ".join(map(option_words, row.rules)), cells_words(row.cells))
        for row in report.refused
    ]
    kinds = {"file": pl.String, "row": pl.Int64, "why": pl.String, "cells": pl.String}
    return pl.DataFrame(rows, schema=kinds, orient="row")


def cells_words(row: str) -> str:
    """A row of a file, kept as JSON, as a person reads it.

    >>> cells_words('{"Built":"1769","Lot":null}')
    'Built 1769'
    """
    return ", ".join(f"{name} {cell}" for name, cell in json.loads(row).items() if cell is not None)


def record_sentence(row: Mapping[str, Any]) -> str:
    """A row of ``previews.preview`` as one sentence, with what it would be rejected for.

    >>> row = {"make": "Wexcombe", "model": "Sedge", "year": "1966", "outcome": "sold", "currency": "GBP",
    ...        "amount": "4250", "price_basis": "all-in", "event_date": "2019-05-15", "channel": "private",
    ...        "date_precision": "month", "odometer_km": "86904.6", "condition_band": "average"}
    >>> record_sentence(row)
    '1966 Wexcombe Sedge: sold, GBP 4,250 all-in, May 2019, private, average, 86,905 km'
    >>> record_sentence(row | {"year": None, "broken_rules": ["year_missing"]}).partition(" -- ")[2]
    'would be rejected: year missing'
    """
    cells = {name: str(cell) for name, cell in row.items() if cell is not None and not isinstance(cell, list)}
    amount, odometer = _grouped(cells.get("amount", "")), _grouped(cells.get("odometer_km", ""))
    price = (cells.get("currency", ""), amount, cells.get("price_basis", ""))
    options = row.get("options")
    parts = [
        cells.get("outcome", ""),
        " ".join(filter(None, price)) if amount else "",
        _when(cells),
        *(cells.get(name, "") for name in ("channel", "country", "condition_band")),
        f"{odometer} km" if odometer[-1:].isdigit() else "",
        *(map(option_words, options) if isinstance(options, list) else ()),
    ]
    sentence = f"{name_words(cells) or 'no car'}: {', '.join(filter(None, parts))}"
    rules = row.get("broken_rules")
    return f"{sentence} -- would be rejected: {', '.join(map(option_words, rules))}" if rules else sentence


def _grouped(figures: str) -> str:
    """A number in figures, its thousands parted; any other text as it is."""
    try:
        number = Decimal(figures)
    except InvalidOperation:
        return figures
    return f"{number:,.0f}" if number >= 1000 or number == number.to_integral_value() else f"{number:,}"


def _when(cells: Mapping[str, str]) -> str:
    """The day of an event as far as it is known."""
    written, precision = cells.get("event_date", ""), cells.get("date_precision")
    try:
        day = date.fromisoformat(written)
    except ValueError:
        return written
    return (
        f"{day:%B %Y}" if precision == "month" else str(day.year) if precision == "year" else day_words(day)
    )


def new_name_questions(report: LoadReport) -> tuple[str, ...]:
    """Names that a dry run found and that may be misspelt, in the words of ``name_questions``.

    >>> row = {"field": "make", "typed": "aubrele", "records": 1, "name": "Aubrelle", "state": "proposed"}
    >>> new_name_questions(LoadReport(2, 1, 1, 0, "batch-0002", {}, (), 0, names=(row,)))
    ("make 'aubrele' (1 record) may be 'Aubrelle'",)
    """
    return name_questions(pl.DataFrame(report.names)) if report.names else ()


def name_questions(names: pl.DataFrame) -> tuple[str, ...]:
    """Names that may be misspelt, as ``Market.names`` proposes them, the most common first.

    >>> row = {"field": "make", "typed": "aubrele", "records": 1, "name": "Aubrelle", "state": "proposed"}
    >>> name_questions(pl.DataFrame([row]))
    ("make 'aubrele' (1 record) may be 'Aubrelle'",)
    """
    return tuple(map(_may_be, _proposed(names)))


def _proposed(names: pl.DataFrame) -> Iterator[dict[str, Any]]:
    return names.filter(pl.col("state") == "proposed").head(NAMES_TOLD).iter_rows(named=True)


def _may_be(row: Mapping[str, Any]) -> str:
    count = f"{row['records']:,} record{'' if row['records'] == 1 else 's'}"
    return f"{row['field']} {row['typed']!r} ({count}) may be {row['name']!r}"


def name_sentences(names: pl.DataFrame) -> tuple[str, ...]:
    """``name_questions``, each with how it is settled on the command line.

    >>> row = {"field": "make", "make": None, "model": None, "typed": "aubrele", "records": 1}
    >>> row |= {"name": "Aubrelle"}
    >>> name_sentences(pl.DataFrame([row | {"state": "proposed"}]))
    ("make 'aubrele' (1 record) may be 'Aubrelle': pricing names settle make 'aubrele' 'Aubrelle'",)
    """
    sentences = []
    for row in _proposed(names):
        within = "".join(f" --{name} {row[name]!r}" for name in ("make", "model") if row[name] is not None)
        settle = f"pricing names settle {row['field']} {row['typed']!r} {row['name']!r}{within}"
        sentences.append(f"{_may_be(row)}: {settle}")
    return tuple(sentences)


def rules_table(report: LoadReport) -> pl.DataFrame:
    """Rules that rejected rows broke, in words, and the rows that broke each, the most first.

    >>> rules_table(LoadReport(3, 1, 2, 0, "batch-0002", {"year_out_of_range": 2}, (), 0)).rows()
    [('year out of range', 2)]
    """
    return pl.DataFrame(_ranked(report.by_rule), schema={"rule": pl.String, "rows": pl.Int64}, orient="row")


def dates_sentence(mapping: Columns) -> str:
    """In which order a mapping reads dates.

    >>> dates_sentence(Columns("hall", {"event_date": "Day"}, date_order="day-month-year"))
    'Dates are read as day-month-year.'
    >>> dates_sentence(Columns("hall", {"event_date": "Day"}))
    'Only dates written as 2024-05-31 or with the month by its name are read; state any other order.'
    """
    if not any(name in mapping.columns for name in DATE_COLUMNS):
        return "No column of dates is named."
    if mapping.date_order is None:
        return (
            "Only dates written as 2024-05-31 or with the month by its name are read; state any other order."
        )
    return f"Dates are read as {mapping.date_order}."
