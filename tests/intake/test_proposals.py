"""Proposed mappings: what headers and cells tell, and what is asked instead of guessed."""

from datetime import date
from pathlib import Path

import polars as pl

from pricing.intake.mapping_files import read_mapping
from pricing.intake.proposals import open_questions, preview, propose, turned

TABLE = pl.DataFrame(
    {
        "Lot no.": ["1", "2"],
        "Manufacturer": ["Corvane", "Corvane"],
        "Modell": ["Six", "Four"],
        "Anno": ["1968", "1971"],
        "Mileage": ["45,000", "12,500"],
        "Conditon": ["barn find", "driver"],
        "Sale date": ["03/04/2024", "13/04/2024"],
        "Hammer": ["4.250,00", "3.100,50"],
        "Unknown": ["GBP", "EUR"],
        "Wire wheels": ["Y", ""],
        "Extras": ["tow bar, overdrive", "overdrive"],
        "Status": ["sold", "gone"],
    }
)


def test_headers_and_cells_are_recognised() -> None:
    mapping = propose(TABLE, "hall").mapping
    assert mapping.columns == {
        "source_ref": "Lot no.", "make": "Manufacturer", "model": "Modell", "year": "Anno",
        "odometer_km": "Mileage", "condition_band": "Conditon", "event_date": "Sale date",
        "amount": "Hammer", "currency": "Unknown", "outcome": "Status",
    }  # fmt: skip
    assert mapping.constants == {"price_basis": "hammer", "channel": "auction"}
    assert (mapping.date_order, mapping.decimal) == ("day-month-year", ",")
    assert (mapping.packed_options, mapping.option_separator) == ("Extras", ",")
    assert mapping.option_columns == {"wire_wheels": "Wire wheels"}


def test_what_the_table_leaves_open_is_asked() -> None:
    questions = propose(TABLE.with_columns(pl.lit("03/04/2024").alias("Sale date")), "hall").questions
    assert any("can be read in several orders" in question for question in questions)
    assert any("'Mileage' names no unit" in question for question in questions)
    assert any("'gone'" in question for question in questions)
    assert any(question.startswith("[constants] country") for question in questions)


def test_the_proposal_is_a_mapping_file(tmp_path: Path) -> None:
    proposal = propose(TABLE, "hall")
    path = tmp_path / "m.toml"
    path.write_text(proposal.text)
    assert read_mapping(path) == proposal.mapping
    assert proposal.text.startswith("# To settle: ")


def test_the_preview_shows_how_rows_would_land() -> None:
    shown = preview(propose(TABLE, "hall").mapping, TABLE, date(2025, 1, 1))
    assert shown["amount"].to_list() == ["4250.00", "3100.50"]
    assert shown["broken_rules"].to_list() == [None, ["outcome_unknown"]]


def test_a_table_of_nothing_known_is_asked_about_whole() -> None:
    proposal = propose(pl.DataFrame({"a": ["x"], "b": ["y"]}), "odd")
    assert proposal.mapping.columns == {}
    assert any("no column looks like a price" in question for question in proposal.questions)


def test_a_column_of_lists_stays_the_options() -> None:
    table = TABLE.with_columns(pl.Series("Extras", [["overdrive"], []]))
    proposal = propose(table, "hall")
    mapping = proposal.mapping
    assert mapping.packed_options is None
    assert mapping.option_columns == {}
    assert "[columns] options: 'Extras' lists them; left out: 'Wire wheels'" in proposal.questions
    assert mapping.columns["options"] == "Extras"


def test_the_text_asks_what_the_proposal_asks() -> None:
    proposal = propose(pl.DataFrame({"nothing": ["x"]}), "hall")
    assert tuple(open_questions(proposal.text)) == proposal.questions != ()


def test_cells_of_any_type_can_be_shown_on_their_side() -> None:
    odd = pl.DataFrame({"a": [b"\xff"], "b": [[1, 2]], "c": [date(2024, 1, 2)], "d": [None], "e": [{"f": 1}]})
    assert turned(odd)["row 1"].to_list() == ["ff", '{"b":[1,2]}', "2024-01-02", None, '{"e":{"f":1}}']
