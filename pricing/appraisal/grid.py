"""The grid of comparables: side by side with the subject, and a person's choices on it, kept in the record.

A choice names a comparable by its number on the grid or by its record; what it changes is gathered anew, so
that the frozen evidence is what the record says.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import polars as pl

from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError
from pricing.evidence.comparison.choices import Choice

MOST_FOUND: Final = 20
"""Sales that a search shows, the newest."""

SEARCHED: Final = (
    "make", "model", "variant", "year", "condition_band", "channel", "source", "source_ref", "chassis_number",
    "event_date", "price",
)  # fmt: skip


@dataclass(frozen=True)
class Decision:
    """A choice as a person says it: what to do (one of ``choices.ACTIONS``), with which comparable (its
    number on the grid, or its record), by how much, on which line."""

    action: str
    which: str
    line: str | None = None
    per_cent: float | None = None


def with_choices(entry: Entry, decisions: Sequence[Decision], reason: str) -> Appraisal:
    """The record with choices more; the evidence is to be gathered anew for it.

    Raises:
        AppraisalError: there is no comparable of that number.
        EvidenceError: there is no reason, or a choice makes no sense.
    """
    choices = [*entry.record.choices]
    comparables = None if entry.evidence is None else entry.evidence.comparables
    for one in decisions:
        record_id = one.which
        if one.which.isdecimal() and comparables is not None:
            height = comparables.table.height
            if not 1 <= int(one.which) <= height:
                raise AppraisalError(
                    f"{entry.appraisal_id}: no comparable {int(one.which)}; the grid has 1 to {height}"
                )
            record_id = str(comparables.table["record_id"][int(one.which) - 1])
        choices.append(Choice(record_id, one.action, reason, one.line, one.per_cent))
    return replace(entry.record, choices=tuple(choices))


def found_sales(sales: pl.DataFrame, text: str, at: date) -> pl.DataFrame:
    """Sold cars known by a day in whose record every word of a text stands, the newest first,
    ``MOST_FOUND`` at most: ``record_id`` and ``SEARCHED``.

    >>> one = {name: ["x"] for name in SEARCHED} | {"record_id": ["r-1"], "outcome": ["sold"]}
    >>> frame = pl.DataFrame(one | {"make": ["Corvane"], "event_date": [date(2024, 5, 1)]})
    >>> found_sales(frame, "corvane 2024-05", date(2026, 1, 1))["record_id"].to_list()
    ['r-1']
    """
    cells = pl.concat_str(pl.col(SEARCHED).cast(pl.String), separator=" ", ignore_nulls=True)
    words = [cells.str.to_lowercase().str.contains(word, literal=True) for word in text.lower().split()]
    if not words:
        return sales.select("record_id", *SEARCHED).head(0)
    known = sales.filter(pl.col("outcome") == "sold", pl.col("event_date") <= at, *words)
    return known.sort("event_date", descending=True).select("record_id", *SEARCHED).head(MOST_FOUND)
