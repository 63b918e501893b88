"""Sheets as strangers to the rules keep them: columns and rows right in 95 of a hundred, no number wrong."""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, fields
from decimal import Decimal
from functools import reduce
from pathlib import Path
from typing import Any, Final

import pytest

from pricing.errors import PricingError
from pricing.intake.mappings.mapping_files import write_mapping_text
from pricing.intake.mappings.proposals import propose
from pricing.intake.mappings.settling import with_answers
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.readers import read_whole
from pricing.store.market import Market
from tests.intake.sheet_measure import TODAY, Measure
from tests.intake.strangers import Sheet, sheets

KILOMETRES: Final = {"mi": 1.609344, "km": 1.0}  # the international mile: agreement of 1959
MONEY: Final = ("amount", "low_estimate", "high_estimate", "highest_bid")
STRICT: Final = (*MONEY, "premium", "reserve", "odometer_km")
"""What must not be there where a person reads none of it."""


@dataclass
class Told(Measure):
    """What came of the sheets, with what a test does not hold."""

    lost: list[str] = field(default_factory=list)
    """Cells that a person reads and the record has not."""
    questions: Counter[str] = field(default_factory=Counter)


def measured(sheet: Sheet, folder: Path, measure: Told) -> None:
    """Propose, answer what is asked as its keeper would, load, and hold every record against the truth."""
    path = sheet.write(folder)
    measure.rows += len(sheet.truth)
    measure.columns += len(sheet.columns)
    try:
        proposal = propose(read_whole(path, Layout()), sheet.name)
        found = {column.theirs: column.ours for column in proposal.columns}
        for (heading, got), ours in zip(found.items(), sheet.columns, strict=False):
            right = ours == "~" or got == (None if ours == "-" else ours) or ours == "notes"
            measure.columns_right += right
            if not right:
                measure.columns_wrong.append(f"{sheet.name}: {heading!r} is {ours}, taken for {got}")
        if len(found) != len(sheet.columns):
            measure.columns_wrong.append(f"{sheet.name}: {len(sheet.columns)} columns, read {list(found)}")
        asked = {question.name: question.why for question in proposal.questions}
        given = {key: value for key, value in sheet.answers.items() if key in asked or ":" in key}
        answered = with_answers(proposal, given)
        if any(question.section == "premium" for question in answered.questions):
            answered = with_answers(answered, {"premium": "10"})
        for question in answered.questions:
            measure.questions[f"{sheet.name}: {question.name}: {question.why}"] += 1
        write_mapping_text(answered.text, path.with_name(path.name + ".mapping.toml"))
        market = Market.open(folder / f"{sheet.name}.duckdb", base_currency=most_told(sheet))
        report = market.load([path], today=TODAY, believe=True)
    except PricingError as error:
        measure.missed.append(f"{sheet.name}: {str(error)[:500]}")
        return
    assert report.read == report.accepted + report.rejected + report.known
    for rule, count in report.by_rule.items():
        measure.missed.append(f"{sheet.name}: {rule} {count}")
    left = list(sheet.truth)
    for row in market.sales(every_record=True).iter_rows(named=True):
        told = [(differences(row, truth), truth) for truth in left]
        if not told:
            if row["amount"] is not None:
                measure.wrong.append(f"{sheet.name}: no such row: {shown(row)}")
            continue
        (wrong, lost), truth = min(told, key=lambda pair: len(pair[0][0]) * 3 + len(pair[0][1]))
        if len(wrong) > 4 and row["amount"] is None and row["outcome"] in ("asking", "unsold"):
            continue  # an offer without a price, which a person may leave out
        left.remove(truth)
        measure.accepted += 1
        measure.wrong += [f"{sheet.name}, {row['source_ref']}: {line}" for line in wrong]
        measure.lost += [f"{sheet.name}, {row['source_ref']}: {line}" for line in lost]
    measure.missed += [f"{sheet.name}: no record of {' '.join(truth.values())}" for truth in left]


def together(parts: list[Told]) -> Told:
    """What came of all of them."""
    return reduce(
        lambda so_far, part: Told(
            *(getattr(so_far, of.name) + getattr(part, of.name) for of in fields(Told))
        ),
        parts,
    )


def most_told(sheet: Sheet) -> str:
    """The currency of most of its rows, which a first load proposes to keep prices in."""
    return Counter(truth["currency"] for truth in sheet.truth).most_common(1)[0][0]


def shown(row: dict[str, Any]) -> str:
    """A record in a line."""
    names = ("make", "model", "variant", "year", "event_date", "outcome", "amount", "currency", "odometer_km")
    return " ".join(str(row[name]) for name in names)


def differences(row: dict[str, Any], truth: dict[str, str]) -> tuple[list[str], list[str]]:
    """What a record says other than a person reads, and what it does not know that a person reads."""
    wrong: list[str] = []
    lost: list[str] = []
    expected = {name: "" for name in STRICT if not (name == "odometer_km" and "odometer" in truth)} | truth
    for name, true in expected.items():
        if true == "*":
            continue
        if name == "odometer":
            got = row["odometer_km"]
            if true:
                figure, unit = true.split(" ")
                same = got is not None and abs(got / (float(figure) * KILOMETRES[unit]) - 1) < 0.001
            else:
                same = got is None
        elif name == "event_date":
            got = row["event_date"]
            span = {4: "year", 7: "month", 10: None}[len(true)]
            same = str(got)[: len(true)] == true and row["date_precision"] == span
            got = f"{got} ({row['date_precision']})"
        elif name in (*MONEY, "premium", "reserve"):
            got = row[name]
            same = (got is None) == (true == "") and (
                got is None or abs(Decimal(str(got)) - Decimal(true)) <= Decimal("0.005")
            )
        elif name == "currency" and row["currency"] is None:
            got, same = None, row["amount"] is None
        else:
            got = row[name]
            same = str("" if got is None else got) == true
        if not same:
            (lost if got is None else wrong).append(f"{name} is {got}, truly {true}")
    return wrong, lost


@pytest.mark.parametrize("step", [4, pytest.param(1, marks=pytest.mark.soak)])
def test_what_strangers_keep_is_read_as_a_person_reads_it(step: int, tmp_path: Path) -> None:
    """One test, as each process would read all sheets anew for a test of its own; every fourth of them, all
    in the soak."""
    written = sheets()
    assert len(written) >= 40
    written = written[::step]
    parts = [Told() for _ in written]
    with ThreadPoolExecutor(4) as pool:  # most of the time is waiting for the processes that read files
        list(pool.map(measured, written, [tmp_path] * len(written), parts))
    measure = together(parts)
    measure.told()
    for title, lines in (("lost", measure.lost), ("asked", measure.questions)):
        print(f"-- {title}: {len(lines)}", *lines, sep="\n")
    measure.held()
