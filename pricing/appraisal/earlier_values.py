"""What the cars of a list were last valued at: the newest appraisal of each chassis that the market holds."""

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from pricing.appraisal.collection_total import figure_of
from pricing.appraisal.facts import facts_of
from pricing.appraisal.record.record import read_kept
from pricing.appraisal.register import last_entries
from pricing.errors import AppraisalError
from pricing.intake.duplicates import chassis_key
from pricing.store.market import Market


@dataclass(frozen=True)
class EarlierValue:
    """What a car counted for in its last appraisal, and on which day."""

    appraisal_id: str
    effective_date: date
    figure: Decimal
    currency: str


def earlier_values(market: Market, chassis: Collection[str], before: date) -> dict[str, EarlierValue]:
    """The last value of each chassis (``chassis_key``) at a day before ``before``; none where there is
    none."""
    newest: dict[str, tuple[date, str]] = {}
    for row in market.appraisals.last_revisions().iter_rows(named=True):
        record = read_kept(json.loads(row["record"]))
        key, at = chassis_key(record.subject.chassis_number), record.assignment.effective_date
        if key and key in chassis and at is not None and at < before:
            newest[key] = max(newest.get(key, (date.min, "")), (at, row["appraisal_id"]))
    found: dict[str, EarlierValue] = {}
    entries = last_entries(market, [name for _, name in newest.values()])
    for key, (at, name) in newest.items():
        entry = entries[name]
        if entry.evidence is None:
            continue
        try:
            facts = facts_of(entry)
        except AppraisalError:  # a record of an earlier version whose figures no longer add up says nothing
            continue
        figure = figure_of(facts)
        if figure is not None:
            found[key] = EarlierValue(name, at, figure, facts.currency)
    return found
