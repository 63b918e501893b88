"""A collection: many cars from one spreadsheet, appraised on the same terms at the same date.

Every row comes back: valued, or with the reason why not.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.appraisal.evidence import Known, gather
from pricing.appraisal.facts import Facts, facts_of, finished
from pricing.appraisal.record import Appraisal, with_answer
from pricing.appraisal.register import enter, read
from pricing.appraisal.sections import Opinion, Repairs, Subject
from pricing.errors import AppraisalError, PricingError
from pricing.intake.readers import read_file
from pricing.progress import Progress, untold
from pricing.store.market import Market

MOST_CARS: Final = 5_000

REFERENCE: Final = "reference"
"""Column that names a row in its owner's words."""

_SUBJECT: Final = tuple(part.name for part in fields(Subject) if part.name != "established")
_OPINION: Final = tuple(part.name for part in fields(Opinion))
COLUMNS: Final = (REFERENCE, *_SUBJECT, *_OPINION)
"""Columns a spreadsheet of cars may have; make, model and year it must."""


@dataclass(frozen=True)
class Row:
    """A car as its row says it: its place in the spreadsheet, its owner's reference, its cells by column."""

    number: int
    reference: str
    cells: dict[str, str]


@dataclass(frozen=True)
class Item:
    """A car of a collection, with its facts or the ``reason`` why there are none."""

    row: Row
    facts: Facts | None
    reason: str


def read_cars(path: Path) -> list[Row]:
    """The rows of a spreadsheet (xlsx, csv, parquet) whose header names ``COLUMNS``.

    Raises:
        FileError: it cannot be read.
        AppraisalError: a column is unknown or missing, there is no car, or there are too many.
    """
    frame = pl.concat([part.frame for part in read_file(path)], how="diagonal_relaxed")
    names = {name: name.strip().casefold().replace(" ", "_") for name in frame.columns}
    frame = frame.rename(names).with_columns(pl.exclude("row_number").cast(pl.String).str.strip_chars())
    unknown = [name for name in frame.columns if name not in (*COLUMNS, "row_number")]
    if unknown:
        raise AppraisalError(
            f"{path}: no column {unknown[0]!r} of a car; expected some of: {', '.join(COLUMNS)}"
        )
    absent = [name for name in ("make", "model", "year") if name not in frame.columns]
    if absent:
        raise AppraisalError(f"{path}: the column {absent[0]} is needed")
    if not 0 < frame.height <= MOST_CARS:
        raise AppraisalError(f"{path}: {frame.height} cars; a collection has 1 to {MOST_CARS:,}")
    return [_row(row) for row in frame.iter_rows(named=True)]


def value_collection(
    market: Market,
    known: Known,
    shared: Appraisal,
    cars: Sequence[Row],
    *,
    by: str,
    progress: Progress = untold,
) -> list[Item]:
    """Value every car on the terms of ``shared`` and enter the records into the market file, all or none.

    ``progress`` is told each step, how many cars are done, and of how many.
    """
    gathered = list(_gathered(known, shared, cars, progress))
    kept = [(record, evidence) for _, record, evidence, _ in gathered if evidence is not None]
    names = iter(enter(market, kept, by=by, reason="entered with a collection") if kept else [])
    items = []
    for place, (car, _, evidence, reason) in enumerate(gathered, start=1):
        progress("read back", place, len(gathered))
        items.append(Item(car, None, reason) if evidence is None else _item(market, car, next(names)))
    return items


def record_of(shared: Appraisal, car: Row) -> Appraisal:
    """The record of one car: the shared terms, and what its row says of it.

    >>> record_of(Appraisal(), Row(2, "7", {"make": "Corvane", "year": "1968"})).subject.year
    1968

    Raises:
        AppraisalError: a cell cannot be what its column holds.
    """
    subject = replace(Subject(country=shared.subject.country), established={})
    seen = replace(shared.inspection, sheet="")
    record = replace(shared, subject=subject, inspection=seen, repairs=Repairs(), choices=())
    for name, text in car.cells.items():
        section = "opinion" if name in _OPINION else "subject"
        record = with_answer(record, f"{section}.{name}", text)
    return record


def figure_of(facts: Facts) -> Decimal | None:
    """What a car counts for in the total: the middle of the opinion, else of the model, else of the sales."""
    if facts.opinion is not None:
        return (facts.opinion[0] + facts.opinion[1]) / 2
    span = facts.model if facts.model is not None else facts.comparables
    return None if span is None else span.figures[1]


def total_of(items: Sequence[Item]) -> Decimal:
    """The sum of what every valued car counts for."""
    figures = (figure_of(item.facts) for item in items if item.facts is not None)
    return sum((figure for figure in figures if figure is not None), Decimal(0))


def _gathered(
    known: Known, shared: Appraisal, cars: Sequence[Row], progress: Progress
) -> Iterator[tuple[Row, Appraisal, Any, str]]:
    for place, car in enumerate(cars, start=1):
        try:
            record = record_of(shared, car)
            yield car, record, gather(record, known, with_ratios=False), ""
        except PricingError as error:
            yield car, shared, None, str(error)
        progress("gather evidence", place, len(cars))


def _item(market: Market, car: Row, name: str) -> Item:
    try:
        return Item(car, finished(facts_of(read(market, name))), "")
    except AppraisalError as error:
        return Item(car, None, f"{name}: {error}")


def _row(row: dict[str, Any]) -> Row:
    cells = {name: cell for name, cell in row.items() if name in COLUMNS and name != REFERENCE and cell}
    named = row.get(REFERENCE)
    return Row(int(row["row_number"]), named if named else f"row {row['row_number']}", cells)
