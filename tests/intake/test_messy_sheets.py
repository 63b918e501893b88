"""Forty-five messy sheets, as people who know them load them: what of it is right, and that no number is
wrong."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pricing.intake.layout import Layout
from pricing.intake.mapping_files import write_mapping_text
from pricing.intake.proposals import propose
from pricing.intake.readers import read_whole
from pricing.intake.settling import with_answers
from pricing.store.market import Market
from tests.intake.messy_sheets import CARS, Sheet, sheets

TODAY = date(2026, 1, 1)
RIGHT = 0.95


@dataclass
class Measure:
    """What came of the sheets."""

    columns: int = 0
    columns_right: int = 0
    rows: int = 0
    accepted: int = 0
    wrong: list[str] = field(default_factory=list)
    """Numbers, days and words that are not what the sheet says."""
    columns_wrong: list[str] = field(default_factory=list)
    refused: Counter[str] = field(default_factory=Counter)


def measured(sheet: Sheet, folder: Path, known: Path, measure: Measure) -> None:
    """Propose, answer what is asked, load, and hold every record against the truth."""
    path = sheet.write(folder)
    table = read_whole(path, Layout())
    proposal = propose(table, sheet.name)
    found = {column.theirs: column.ours for column in proposal.columns}
    for heading, ours in sheet.headings.items():
        measure.columns += 1
        right = found.get(heading) == ours
        measure.columns_right += right
        if not right:
            measure.columns_wrong.append(
                f"{sheet.name}: {heading!r} is {ours}, taken for {found.get(heading)}"
            )
    asked = {question.name for question in proposal.questions}
    if "premium" in asked:  # answered by what the prices are
        asked.add("price_basis")
    answered = with_answers(proposal, {key: value for key, value in sheet.answers.items() if key in asked})
    write_mapping_text(answered.text, path.with_name(path.name + ".mapping.toml"))
    market = Market.open(folder / f"{sheet.name}.duckdb", base_currency="EUR")
    market.load([known])
    report = market.load([path], today=TODAY, believe=True)  # prices are drawn without a look at the market
    assert report.read == report.accepted + report.rejected + report.known
    measure.rows += len(sheet.truth)
    measure.accepted += report.accepted
    measure.refused.update({f"{sheet.name}: {rule}": count for rule, count in report.by_rule.items()})
    sales = market.sales(every_record=True)
    for row in sales.filter(sales["source"] == sheet.name).iter_rows(named=True):
        truths = (
            [sheet.truth[row["source_ref"]]] if row["source_ref"] in sheet.truth else [*sheet.truth.values()]
        )
        wrong = min((differences(row, truth, sheet) for truth in truths), key=len)
        measure.wrong += [f"{sheet.name}, {row['source_ref']}: {told}" for told in wrong]


def differences(row: dict[str, Any], truth: dict[str, Any], sheet: Sheet) -> list[str]:
    """What a record says other than the sheet does; what is not known is not wrong."""
    pairs: dict[str, tuple[Any, Any]] = {
        "make": (row["make"], truth["make"]), "model": (row["model"], truth["model"]),
        "amount": (row["amount"], truth["amount"]),
        "currency": (row["currency"], truth.get("currency", sheet.tongue.currency)),
        "outcome": (row["outcome"], truth["outcome"]), "highest_bid": (row["highest_bid"], truth.get("bid")),
        "low_estimate": (row["low_estimate"], truth.get("low")),
        "high_estimate": (row["high_estimate"], truth.get("high")),
        "condition_band": (row["condition_band"], truth["band"]),
    }  # fmt: skip
    wrong = [
        f"{name} is {got}, truly {true}"
        for name, (got, true) in pairs.items()
        if got is not None and got != true
    ]
    if row["year"] != truth["year"]:
        wrong.append(f"year is {row['year']}, truly {truth['year']}")
    kilometres = row["odometer_km"]
    if kilometres is not None and (truth["km"] is None or abs(kilometres / truth["km"] - 1) > 0.001):
        wrong.append(f"odometer is {kilometres}, truly {truth['km']}")
    day, got = truth["date"], row["event_date"]
    same = (got.year, got.month) == (day.year, day.month) if truth.get("span") else got == day
    if not same or row["date_precision"] != truth.get("span"):
        wrong.append(f"event is on {got}, truly {day}")
    return wrong


@pytest.fixture(scope="module")
def measure(tmp_path_factory: pytest.TempPathFactory) -> Measure:
    folder = tmp_path_factory.mktemp("messy")
    known = folder / "known.csv"
    lines = [f"{make},{model},{variant or ''},1966,2014-01-0{at},sold,all-in,EUR,4000,private,GB"
             for at, (make, model, variant) in enumerate(CARS, 1)]  # fmt: skip
    header = "make,model,variant,year,event_date,outcome,price_basis,currency,amount,channel,country"
    known.write_text("\n".join([header, *lines]))
    found = Measure()
    for sheet in sheets():
        measured(sheet, folder, known, found)
    print(f"\ncolumns right: {found.columns_right} of {found.columns}")
    print(f"rows accepted: {found.accepted} of {found.rows}; wrong: {len(found.wrong)}")
    for line in [*found.columns_wrong, *found.wrong[:40], *map(str, found.refused.most_common(40))]:
        print(line)
    return found


def test_there_are_forty_sheets_at_least() -> None:
    assert len(sheets()) >= 40


def test_columns_are_recognised(measure: Measure) -> None:
    assert measure.columns_right >= RIGHT * measure.columns, measure.columns_wrong


def test_rows_are_accepted(measure: Measure) -> None:
    assert measure.accepted >= RIGHT * measure.rows, measure.refused


def test_no_number_is_wrong(measure: Measure) -> None:
    assert measure.wrong == []
