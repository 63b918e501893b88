"""A name that is likely a slip of the pen is told before it is loaded, and never suggested."""

from pathlib import Path

import polars as pl
import pytest

from pricing.car_names import Names
from pricing.intake.written.cars import CarNames, read_car
from pricing.store.market import Market
from pricing.store.records.first_load import load_into
from pricing.words.loading import name_questions, new_name_questions
from tests.store.test_first_load import ROW as SALE


def write(path: Path, makes: list[str]) -> Path:
    rows = [SALE | {"make": make, "amount": str(4000 + place)} for place, make in enumerate(makes)]
    pl.DataFrame(rows).write_csv(path)
    return path


@pytest.mark.parametrize("there", [False, True])
def test_a_dry_run_asks_of_names_what_the_load_would(tmp_path: Path, there: bool) -> None:
    market = tmp_path / "market.duckdb"
    if there:
        load_into(market, [write(tmp_path / "first.csv", ["Corvane"] * 12)])
    file = write(tmp_path / "second.csv", [*["Corvane"] * 15, "Corvaine"])
    tried = load_into(market, [file], dry_run=True)
    assert market.exists() is there
    load_into(market, [file])
    opened = Market.open(market)
    asked = new_name_questions(tried)
    assert asked == name_questions(opened.names()) == ("make 'corvaine' (1 record) may be 'Corvane'",)
    write(tmp_path / "third.csv", ["Wexcombe"])
    again = load_into(market, [tmp_path / "third.csv"], dry_run=True)
    assert new_name_questions(again) == (), "it is no name of this file"


def test_the_trial_of_a_first_load_tells_what_would_be_rejected(tmp_path: Path) -> None:
    pl.DataFrame([SALE, SALE | {"amount": "-1"}]).write_csv(tmp_path / "a.csv")
    tried = load_into(tmp_path / "market.duckdb", [tmp_path / "a.csv"], dry_run=True)
    assert [row.rules for row in tried.refused] == [("amount_not_positive",)]


def test_a_refusal_suggests_no_slip() -> None:
    makes = [*["Corvane"] * 40, "Corvaine", *["Corvan"] * 30]
    names = Names.of(pl.DataFrame({"make": makes, "model": ["Six"] * 71, "variant": [None] * 71}))
    told = names.find(("Corvanee", None, None))[1]
    assert told is not None and told.endswith("did you mean Corvane or Corvan?")
    assert (far := names.find(("Zzz", None, None))[1]) is not None
    assert "on record: Corvane, Corvan, ..." in far


@pytest.mark.parametrize(
    ("cell", "by_words", "make", "model", "rest"),
    [
        ("1971 Lark Fell Four", True, "Lark Fell", "Four", None),
        ("1971 Lark Fell Four, red", False, "Lark Fell", "Four", "red"),
        ("1966 Wexcmbe Sedge", False, "Wexcmbe", "Sedge", None),
        ("1966 Wexcombe Seddge de luxe", True, "Wexcombe", "Seddge", None),
        ("Wexcombe Marsh Harier", True, "Wexcombe", "Marsh Harier", None),
        ("Zellkamp Ginster", True, "Zellkamp", "Ginster", None),
        ("Zellkamp Ginster", False, None, None, "Zellkamp Ginster"),
    ],
)
def test_a_slip_in_a_whole_car_parts_it_as_the_name_would_and_stands_as_typed(
    cell: str, by_words: bool, make: str | None, model: str | None, rest: str | None
) -> None:
    names = CarNames.of(
        [("Wexcombe", "Sedge", "de luxe"), ("Lark & Fell", "Four", None), ("Wexcombe", "Marsh Harrier", None)]
    )
    said = read_car(cell, names, by_words=by_words)
    assert (said.make, said.model, said.rest) == (make, model, rest)
    assert read_car("1966 wexcombe sedge", names).make == "Wexcombe"
