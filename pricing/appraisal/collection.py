"""A collection: many cars from one spreadsheet, appraised on the same terms at the same date, each beside
what it was last valued at.

Every row comes back: valued, or with the reason why not.
"""

import json
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from pricing.appraisal.collection_list import PHOTOGRAPHS, Row, record_of, twice
from pricing.appraisal.collection_total import SoldTogether, Total, figure_of
from pricing.appraisal.consistency import contradictions
from pricing.appraisal.contents import missing
from pricing.appraisal.evidence import Evidence, Known, gather
from pricing.appraisal.facts import Facts, facts_of, open_points
from pricing.appraisal.figures import opinion_of
from pricing.appraisal.record.record import Appraisal, read_kept
from pricing.appraisal.register import entered, last_entries
from pricing.condition.assessment import InspectionResult
from pricing.errors import AppraisalError, PricingError
from pricing.intake.duplicates import chassis_key
from pricing.progress import Progress, untold
from pricing.store.market import Market
from pricing.untrusted.photographs import ReadPhotograph


@dataclass(frozen=True)
class EarlierValue:
    """What a car counted for in its last appraisal, and on which day."""

    appraisal_id: str
    effective_date: date
    figure: Decimal
    currency: str


def earlier_values(market: Market, chassis: Collection[str], before: date) -> dict[str, EarlierValue]:
    """The last value of each chassis (``chassis_key``) at a day before ``before``, where there is one."""
    newest: dict[str, tuple[date, str]] = {}
    for row in market.appraisals.last_revisions().iter_rows(named=True):
        record = read_kept(json.loads(row["record"]))
        key, at = chassis_key(record.subject.chassis_number), record.assignment.effective_date
        if key and key in chassis and at is not None and at < before:
            newest[key] = max(newest.get(key, (date.min, "")), (at, row["appraisal_id"]))
    values: dict[str, EarlierValue] = {}
    entries = last_entries(market, [name for _, name in newest.values()])
    for key, (at, name) in newest.items():
        try:
            facts = facts_of(entries[name])
        except AppraisalError:  # no evidence, or of an earlier version whose figures no longer add up
            continue
        figure = figure_of(facts)
        if figure is not None:
            values[key] = EarlierValue(name, at, figure, facts.currency)
    return values


REASON: Final = "entered with a collection"

Inspect = Callable[[Appraisal], InspectionResult | None]
"""Assesses the inspection sheet that a record names, if it names one."""


TakeIn = Callable[[Appraisal, str], tuple[Appraisal, list[ReadPhotograph]]]
"""Reads the photographs of a folder into a record; gives it with what was read."""


@dataclass(frozen=True)
class Item:
    """A car of a collection, with its facts or the ``reason`` why there are none; ``before`` is what it was
    last valued at."""

    row: Row
    facts: Facts | None
    reason: str
    before: EarlierValue | None = None


def no_sheets(record: Appraisal) -> None:
    """Where files beside the list cannot be read, a row that names one is refused.

    Raises:
        AppraisalError: the record names an inspection sheet.
    """
    if record.inspection.sheet:
        raise AppraisalError(
            "inspection_sheet names a file, which a list sent to the page cannot do: value it by "
            "`pricing appraise bulk`, or say condition_band"
        )


def no_folders(record: Appraisal, folder: str) -> tuple[Appraisal, list[ReadPhotograph]]:
    """Where folders beside the list cannot be read, a row that names one is refused.

    Raises:
        AppraisalError: always.
    """
    raise AppraisalError(
        "photographs names a folder, which a list sent to the page cannot do: value it by "
        "`pricing appraise bulk`, or add the photographs to the appraisal"
    )


def value_collection(
    market: Market,
    known: Known,
    shared: Appraisal,
    cars: Sequence[Row],
    *,
    by: str,
    inspect: Inspect = no_sheets,
    take_in: TakeIn = no_folders,
    progress: Progress = untold,
) -> list[Item]:
    """Value every car on the terms of ``shared`` and enter the records into the market file, all or none.

    A row with a value of its own becomes an appraisal, a draft until its valuer completes it; the others
    become model reports, refused with the price model's reason where it gives no range. Of rows with one
    chassis number only the first is valued. ``progress`` is told each step, how many cars are done, and of
    how many.
    """
    read: list[ReadPhotograph] = []
    gathered = list(_gathered(known, shared, cars, inspect, take_in, read, progress))
    valued = [(record, evidence) for record, evidence, _ in gathered if evidence is not None]
    entries = iter(entered(market, valued, by, REASON, read) if valued else [])
    before = earlier_values(market, {car.chassis for car in cars if car.chassis}, known.at)
    items = []
    for place, (car, (_, evidence, reason)) in enumerate(zip(cars, gathered, strict=True), start=1):
        progress("reckon figures", place, len(gathered))
        last = before.get(car.chassis)
        if evidence is None:
            items.append(Item(car, None, reason, last))
            continue
        entry = next(entries)
        try:
            items.append(Item(car, facts_of(entry), "", last))
        except AppraisalError as error:
            items.append(Item(car, None, f"{entry.appraisal_id}: {error}", last))
    return items


def total_of(items: Sequence[Item], together: SoldTogether | None = None) -> Total:
    """What the valued cars come to."""
    return Total.of([item.facts for item in items if item.facts is not None], together)


def _gathered(
    known: Known,
    shared: Appraisal,
    cars: Sequence[Row],
    inspect: Inspect,
    take_in: TakeIn,
    read: list[ReadPhotograph],
    progress: Progress,
) -> Iterator[tuple[Appraisal, Evidence | None, str]]:
    """Every car's record with its evidence, or the reason why it is refused; the photographs of those that
    are not go into ``read``."""
    again = twice(cars)
    for place, car in enumerate(cars):
        try:
            if place in again:
                raise AppraisalError(again[place])
            record = record_of(shared, car)
            shots: list[ReadPhotograph] = []
            if PHOTOGRAPHS in car.cells:
                record, shots = take_in(record, car.cells[PHOTOGRAPHS])
            evidence = gather(record, known, inspection=inspect(record), with_ratios=False)
            reason = _refusal(record, evidence)
            if not reason:
                read += shots
            yield record, None if reason else evidence, reason
        except PricingError as error:
            yield shared, None, str(error)
        progress("gather evidence", place + 1, len(cars))


def _refusal(record: Appraisal, evidence: Evidence) -> str:
    """Why a row is not valued, if it is not: the model gives no range and nobody an opinion, or its report
    could not be handed out as finished. An appraisal is a draft, and says itself what it lacks."""
    if evidence.valuation.low is None and opinion_of(record) is None:
        return str(evidence.valuation.reason)
    if record.assignment.kind == "appraisal":
        return ""
    return "; ".join(open_points(missing(record, evidence), contradictions(record, evidence)))
