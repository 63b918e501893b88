"""What became of a load, and how a mapping reads dates, in plain words."""

from typing import Final

import polars as pl

from pricing.intake.mapping import Mapping
from pricing.intake.written.table import DATE_COLUMNS
from pricing.store.records.loading import LoadReport
from pricing.words.sentences import option_words

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

    >>> told = {"not_known": {"odometer_km": 2}, "said_otherwise": {"currency SEK": 1}}
    >>> for sentence in told_sentences(LoadReport(3, 3, 0, 0, "batch-0002", {}, (), 0, **told)):
    ...     print(sentence)
    cells that say otherwise than the column or the file, and were believed: currency SEK (1)
    cells that could not be read, not known now and kept in the notes: odometer (2)
    """
    said = [f"doubtful: {doubt}" for doubt in report.doubts]
    said += [
        f"{file} is read as one of {source!r}, by its headings" for file, source in report.recognised.items()
    ]
    if report.waiting:
        said.append(f"{report.waiting:,} of the known rows wait in quarantine: pricing quarantine")
    if report.set_aside:
        said.append("rows that are no records, and were not read: " + _counts(report.set_aside))
    if report.said_otherwise:
        said.append(
            "cells that say otherwise than the column or the file, and were believed: "
            + _counts(report.said_otherwise)
        )
    if report.not_known:
        said.append(
            "cells that could not be read, not known now and kept in the notes: " + _counts(report.not_known)
        )
    return tuple(said)


def name_sentences(names: pl.DataFrame) -> tuple[str, ...]:
    """Names that may be misspelt, as ``Market.names`` proposes them, each with how it is settled; the most
    common first.

    >>> row = {"field": "make", "make": None, "model": None, "typed": "aubrele", "records": 1}
    >>> row |= {"name": "Aubrelle"}
    >>> name_sentences(pl.DataFrame([row | {"state": "proposed"}]))
    ("make 'aubrele' (1 record) may be 'Aubrelle': pricing names settle make 'aubrele' 'Aubrelle'",)
    """
    told = []
    for row in names.filter(pl.col("state") == "proposed").head(NAMES_TOLD).iter_rows(named=True):
        count = f"{row['records']:,} record{'' if row['records'] == 1 else 's'}"
        within = "".join(f" --{name} {row[name]!r}" for name in ("make", "model") if row[name] is not None)
        told.append(
            f"{row['field']} {row['typed']!r} ({count}) may be {row['name']!r}: "
            f"pricing names settle {row['field']} {row['typed']!r} {row['name']!r}{within}"
        )
    return tuple(told)


def _counts(counts: dict[str, int]) -> str:
    ranked = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    return ", ".join(f"{option_words(name)} ({count:,})" for name, count in ranked)


def rules_table(report: LoadReport) -> pl.DataFrame:
    """Rules that rejected rows broke, in words, and the rows that broke each, the most first.

    >>> rules_table(LoadReport(3, 1, 2, 0, "batch-0002", {"year_out_of_range": 2}, (), 0)).rows()
    [('year out of range', 2)]
    """
    ranked = sorted(report.by_rule.items(), key=lambda pair: (-pair[1], pair[0]))
    rows = [(option_words(rule), count) for rule, count in ranked]
    return pl.DataFrame(rows, schema={"rule": pl.String, "rows": pl.Int64}, orient="row")


def dates_sentence(mapping: Mapping) -> str:
    """In which order a mapping reads dates.

    >>> dates_sentence(Mapping("hall", {"event_date": "Day"}, date_order="day-month-year"))
    'Dates are read as day-month-year.'
    >>> dates_sentence(Mapping("hall", {"event_date": "Day"}))
    'Only dates written as 2024-05-31 or with the month by its name are read; state any other order.'
    """
    if not any(name in mapping.columns for name in DATE_COLUMNS):
        return "No column of dates is named."
    if mapping.date_order is None:
        return (
            "Only dates written as 2024-05-31 or with the month by its name are read; state any other order."
        )
    return f"Dates are read as {mapping.date_order}."
