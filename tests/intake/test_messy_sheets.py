"""Forty-five messy sheets, as people who know them load them: what of it is right, and that no number is
wrong."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from pricing.intake.mappings.mapping_files import write_mapping_text
from pricing.intake.mappings.proposals import propose
from pricing.intake.mappings.settling import with_answers
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.readers import read_whole
from pricing.store.market import Market
from tests.intake.messy_sheets import CARS, Sheet, sheets
from tests.intake.sheet_measure import TODAY, Measure


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
    market = Market.open(shutil.copy(known, folder / f"{sheet.name}.duckdb"))
    report = market.load([path], today=TODAY, believe=True)  # prices are drawn without a look at the market
    assert report.read == report.accepted + report.rejected + report.known
    measure.rows += len(sheet.truth)
    measure.accepted += report.accepted
    measure.missed += [f"{sheet.name}: {rule} {count}" for rule, count in report.by_rule.items()]
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


@pytest.fixture
def known(tmp_path: Path) -> Path:
    """A market in which each car that the sheets name was sold once."""
    lines = [f"{make},{model},{variant or ''},1966,2014-01-0{at},sold,all-in,EUR,4000,private,GB"
             for at, (make, model, variant) in enumerate(CARS, 1)]  # fmt: skip
    header = "make,model,variant,year,event_date,outcome,price_basis,currency,amount,channel,country"
    (tmp_path / "known.csv").write_text("\n".join([header, *lines]))
    market = Market.open(tmp_path / "known.duckdb", base_currency="EUR")
    market.load([tmp_path / "known.csv"])
    return market.path


@pytest.mark.parametrize("step", [3, pytest.param(1, marks=pytest.mark.soak)])
def test_columns_are_recognised_rows_accepted_and_no_number_is_wrong(
    step: int, known: Path, tmp_path: Path
) -> None:
    """One test, as each process would read all sheets anew for a test of its own; every third of them, all
    in the soak."""
    measure, written = Measure(), sheets()
    assert len(written) >= 40
    for sheet in written[::step]:
        measured(sheet, tmp_path, known, measure)
    measure.told()
    measure.held()
