"""The list of a collection: a spreadsheet with a car a row, and what a row says of its car."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Final

import polars as pl

from pricing.appraisal.record.record import Appraisal, with_answer
from pricing.appraisal.record.sections import Opinion, Repairs, Subject
from pricing.errors import AppraisalError
from pricing.intake.duplicates import chassis_key
from pricing.intake.tables.readers import read_file

MOST_CARS: Final = 5_000

REFERENCE: Final = "reference"
"""Column that names a row in its owner's words."""

SHEET: Final = "inspection_sheet"
"""Column that names a car's inspection file, beside the list."""

PHOTOGRAPHS: Final = "photographs"
"""Column that names a folder of a car's photographs, beside the list; the first by name is on the cover."""

_SUBJECT: Final = tuple(part.name for part in fields(Subject) if part.name != "established")
_OPINION: Final = tuple(part.name for part in fields(Opinion))
COLUMNS: Final = (REFERENCE, *_SUBJECT, SHEET, PHOTOGRAPHS, *_OPINION)
"""Columns a spreadsheet of cars may have; make, model and year it must."""

_VALUES: Final = ("figure", "low", "high")


@dataclass(frozen=True)
class Row:
    """A car as its row says it: its place in the spreadsheet, its owner's reference, its cells by column."""

    number: int
    reference: str
    cells: dict[str, str]

    @property
    def chassis(self) -> str:
        """The letters and digits of its chassis number, however it was typed; empty without one.

        >>> Row(2, "x", {"chassis_number": "wx/34-0102"}).chassis
        'WX340102'
        """
        return chassis_key(self.cells.get("chassis_number", ""))


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
    rows = []
    for row in frame.iter_rows(named=True):
        cells = {name: cell for name, cell in row.items() if name in COLUMNS and name != REFERENCE and cell}
        for name in (SHEET, PHOTOGRAPHS):
            if name in cells:
                cells[name] = str(path.parent / cells[name])
        named = row.get(REFERENCE)
        rows.append(Row(int(row["row_number"]), named if named else f"row {row['row_number']}", cells))
    return rows


def record_of(shared: Appraisal, car: Row) -> Appraisal:
    """The record of one car: the shared terms, and what its row says of it, photographs aside. A row with a
    value of its own is an appraisal, a draft until its valuer completes it; every other is a model report.

    >>> report = record_of(Appraisal(), Row(2, "7", {"make": "Corvane", "year": "1968"}))
    >>> report.subject.year, report.assignment.kind
    (1968, 'model report')

    Raises:
        AppraisalError: a cell cannot be what its column holds, or the shared terms give a value.
    """
    for name in _VALUES:
        if getattr(shared.opinion, name) is not None:
            raise AppraisalError(
                f"the shared form gives opinion.{name}, which would be every car's: take it out there, and "
                f"write {name} into the rows of the cars that have one"
            )
    kind = "appraisal" if any(name in car.cells for name in _VALUES) else "model report"
    subject = replace(Subject(country=shared.subject.country), established={})
    inspection = shared.inspection
    if SHEET not in car.cells:
        inspection = replace(inspection, sheet="", sheet_chassis="")
    record = replace(
        shared, subject=subject, inspection=inspection, repairs=Repairs(), choices=(), photographs=(),
        assignment=replace(shared.assignment, kind=kind),
    )  # fmt: skip
    for name, text in car.cells.items():
        section = "opinion" if name in _OPINION else "subject"
        if name != PHOTOGRAPHS:
            record = with_answer(record, "inspection.sheet" if name == SHEET else f"{section}.{name}", text)
    return record


def twice(cars: Sequence[Row]) -> dict[int, str]:
    """Why a row is refused that is of the same chassis as an earlier one, by its place in ``cars``.

    >>> cars = [Row(nth, "", {"chassis_number": number}) for nth, number in enumerate(("S6-1", "", "s6 1"))]
    >>> twice(cars)
    {2: 'chassis number s6 1 stands in row 0 already'}
    """
    first: dict[str, Row] = {}
    again: dict[int, str] = {}
    for place, car in enumerate(cars):
        before = first.setdefault(car.chassis, car) if car.chassis else car
        if before is not car:
            again[place] = (
                f"chassis number {car.cells['chassis_number']} stands in row {before.number} already"
            )
    return again
