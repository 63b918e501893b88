"""Proposed mappings: what headers and cells tell, and what is asked instead of guessed."""

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pricing.errors import MappingError
from pricing.intake.checking import preview, turned
from pricing.intake.mappings.mapping_files import read_mapping
from pricing.intake.mappings.proposals import propose
from pricing.intake.mappings.settling import with_answers
from pricing.intake.written.cars import CarNames

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
    open_dates = TABLE.with_columns(pl.lit("03/04/2024").alias("Sale date"))
    questions = [question.text for question in propose(open_dates, "hall").questions]
    assert any("can be read in several orders" in question for question in questions)
    assert any("'Mileage' names no unit" in question for question in questions)
    assert any(
        question.startswith("[words.outcome] gone: say what it means, in 1 cell") for question in questions
    )
    assert any(question.startswith("[constants] country") for question in questions)


def test_cells_say_what_a_column_is_where_not_one_is_what_its_heading_says() -> None:
    """Where it was sold may be the country; here the cells are channels, and nothing else."""
    rows = {"Make": "Corvane", "Model": "Six", "Year": "1968", "Price": "£4,250", "When": "2024-05-01"}
    table = pl.DataFrame([rows | {"Where": cell} for cell in ("privat", "Auktion", "dealer", "Händler", "")])
    (where,) = [column for column in propose(table, "club").columns if column.theirs == "Where"]
    assert (where.ours, where.reason) == ("channel", "no heading says so, and all of its cells fit")


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
    assert any("no column looks like a price" in question.why for question in proposal.questions)


def test_a_column_of_lists_stays_the_options() -> None:
    table = TABLE.with_columns(pl.Series("Extras", [["overdrive"], []]))
    proposal = propose(table, "hall")
    mapping = proposal.mapping
    assert mapping.packed_options is None
    assert mapping.option_columns == {}
    asked = [question.text for question in proposal.questions]
    assert "[columns] options: 'Extras' lists them; left out: 'Wire wheels'" in asked
    assert mapping.columns["options"] == "Extras"


def test_the_text_asks_what_the_proposal_asks() -> None:
    proposal = propose(pl.DataFrame({"nothing": ["x"]}), "hall")
    asked = [
        line.removeprefix("# To settle: ") for line in proposal.text.splitlines() if line.startswith("#")
    ]
    assert asked == [question.text for question in proposal.questions] != []


def test_what_a_person_chose_goes_before_headings_and_cells() -> None:
    chosen = propose(TABLE, "hall", chosen={"Unknown": None, "Status": "notes", "Extras": "option overdrive"})
    assert "currency" not in chosen.mapping.columns and chosen.mapping.columns["notes"] == "Status"
    assert chosen.mapping.option_columns == {"wire_wheels": "Wire wheels", "overdrive": "Extras"}
    assert {question.name for question in chosen.questions} >= {"currency"}
    by_name = {column.theirs: column for column in chosen.columns}
    assert by_name["Status"].reason == "chosen" and by_name["Unknown"].reason == "left out, as chosen"
    taken = propose(TABLE, "hall", chosen={"Status": "make"})
    assert taken.mapping.columns["make"] == "Status"


def test_yes_and_no_under_a_strange_heading_are_no_outcome() -> None:
    """A heading such as Man.trans.avail was taken for what came of the sale."""
    odd = TABLE.drop("Status").with_columns(pl.Series("Man.trans.avail", ["Yes", "No"]))
    (column,) = [one for one in propose(odd, "hall").columns if one.theirs == "Man.trans.avail"]
    assert column.ours is None


@pytest.mark.parametrize(
    ("chosen", "told"),
    [
        ({"Statis": "notes"}, "no column 'Statis'; did you mean Status"),
        ({"Status": "outcom"}, "cannot be 'outcom'; did you mean outcome"),
        ({"Status": "notes", "Extras": "notes"}, "two columns are taken for notes"),
    ],
)
def test_a_choice_that_cannot_be_is_refused(chosen: dict[str, str | None], told: str) -> None:
    with pytest.raises(MappingError, match=told):
        propose(TABLE, "hall", chosen=chosen)


def test_a_kept_mapping_is_proposed_again_as_it_was_settled() -> None:
    first = propose(TABLE, "hall")
    settled = with_answers(
        first, {"country": "GB", "odometer_km": "miles", "outcome:gone": "sold", "premium": "15"}
    )
    assert settled.questions == ()
    again = propose(TABLE, "hall", earlier=settled.mapping)
    assert again.mapping == settled.mapping and again.questions == ()
    changed = propose(TABLE, "hall", earlier=settled.mapping, chosen={"Status": None})
    assert [question.name for question in changed.questions] == ["outcome"]
    assert changed.mapping.charges == settled.mapping.charges


def test_cars_of_one_cell_that_the_market_does_not_know_are_asked_about() -> None:
    cars = pl.DataFrame({"Car": ["1966 Wexcombe Sedge", "1967 Corvane Six"], "Price": ["£4,500", "£3,200"]})
    known = CarNames.of([("Wexcombe", "Sedge", None)])
    (asked,) = [one for one in propose(cars, "club", names=known).questions if one.name == "car"]
    assert "no names for 1 of 2 cars, such as '1967 Corvane Six'" in asked.why
    settled = with_answers(propose(cars, "club", names=known), {"car": "by words"})
    landed = preview(settled.mapping, cars, date(2025, 1, 1), names=known)
    assert landed.select("make", "model").rows() == [("Wexcombe", "Sedge"), ("Corvane", "Six")]


def test_cells_of_any_type_can_be_shown_on_their_side() -> None:
    odd = pl.DataFrame({"a": [b"\xff"], "b": [[1, 2]], "c": [date(2024, 1, 2)], "d": [None], "e": [{"f": 1}]})
    assert turned(odd)["row 1"].to_list() == ["ff", '{"b":[1,2]}', "2024-01-02", None, '{"e":{"f":1}}']


@pytest.mark.parametrize(
    "heading",
    ["Asking price", "Offers around (£)", "Advertised at", "Preisvorstellung", "Verhandlungsbasis", "VB €",
     "Wunschpreis", "Prix demandé (€)", "Prix affiché", "Prezzo richiesto", "Richiesta €", "Precio pedido",
     "Precio solicitado", "Vraagprijs", "Gevraagde prijs", "Begärt pris (kr)", "Annonspris"],
)  # fmt: skip
def test_a_price_that_is_only_asked_is_no_sale_in_any_of_the_languages(heading: str) -> None:
    asked = pl.DataFrame(
        {
            "Make": ["Corvane", "Corvane"], "Model": ["Six", "Four"], "Year": ["1968", "1971"],
            "Date": ["2024-05-13", "2024-06-14"], heading: ["4250", "3100"],
        }
    )  # fmt: skip
    mapping = propose(asked, "board").mapping
    assert mapping.columns["amount"] == heading
    assert (mapping.constants["outcome"], mapping.constants["price_basis"]) == ("asking", "asking")


@pytest.mark.parametrize("heading", ["Preis", "Verkauft für", "Prix de vente", "Prezzo", "Slutpris", "Price"])
def test_a_price_that_was_paid_is_not_taken_for_one_asked(heading: str) -> None:
    table = pl.DataFrame({"Make": ["Corvane"], "Model": ["Six"], "Year": ["1968"], heading: ["4250"]})
    assert propose(table, "board").mapping.constants.get("outcome") != "asking"


TRAPS = [
    ({"Price new": "£800", "Sold for": "£4,500", "Date": "2 May 2020"}, {"amount": "Sold for"}),
    ({"Asking": "5000", "Sold": "4500", "Date": "2 May 2020"}, {"amount": "Sold", "event_date": "Date"}),
    ({"Price": "4500", "Premium %": "10", "Date": "2020-01-02"}, {"amount": "Price"}),
    ({"Hammer": "4500", "With premium": "4950", "Sale date": "2020-01-02"}, {"amount": "Hammer"}),
    ({"Year sold": "2018", "Price": "4500"}, {"event_date": "Year sold", "amount": "Price"}),
    ({"EK": "3.000", "VK": "4.500", "Datum EK": "1.2.2019", "Datum VK": "1.5.2019"},
     {"event_date": "Datum VK", "amount": "VK"}),
    ({"MOT expires": "1 May 2021", "Price": "£4,500", "Advert date": "1 May 2020"},
     {"event_date": "Advert date", "amount": "Price"}),
    ({"Deposit": "£100", "Remainder": "£4,400", "Rest later": "£90", "Date": "1 May 2020"},
     {"event_date": "Date"}),
    ({"Insured value": "£6,000", "Paid": "£4,500", "Sold on": "2 May 2020"},
     {"event_date": "Sold on", "amount": "Paid"}),
    ({"Reg no": "KB 66", "Price": "£4,500", "Date": "2 May 2020"}, {"event_date": "Date", "amount": "Price"}),
]  # fmt: skip
"""Columns of money and of days beside those of the sale, and which the sale's are; common practice."""


@pytest.mark.parametrize(("cells", "meant"), TRAPS)
def test_money_and_days_of_another_thing_are_not_taken_for_those_of_the_sale(
    cells: dict[str, str], meant: dict[str, str]
) -> None:
    table = pl.DataFrame([{"Make": "Corvane", "Model": "Six", "Year": "1966"} | cells] * 3)
    columns = propose(table, "club").mapping.columns
    known = {"make", "model", "year"}
    found = {ours: theirs for ours, theirs in columns.items() if ours not in known}
    assert {ours: found.get(ours) for ours in meant} == meant
    assert set(found) <= {"amount", "event_date"} and ("amount" in meant) == ("amount" in found)


def test_prices_headed_as_thousands_that_are_whole_prices_are_asked() -> None:
    row = {"Make": "Corvane", "Model": "Six", "Year": "1966", "Sold on": "2 May 2020"}
    assert propose(pl.DataFrame([row | {"£k": "4.5"}]), "club").mapping.amount_unit == "thousand"
    asked = propose(pl.DataFrame([row | {"£k": "4500"}]), "club")
    assert asked.mapping.amount_unit == "one"
    assert "amount_unit" in {question.name for question in asked.questions}


def test_an_odometer_whose_unit_nobody_says_is_asked_and_not_known_till_then() -> None:
    row = {"Make": "Corvane", "Model": "Six", "Year": "1966", "Sold on": "2 May 2020", "Mileage": "54,000"}
    proposal = propose(pl.DataFrame([row, row | {"Mileage": "61000"}, row | {"Mileage": "9,000 km"}]), "club")
    assert "odometer_km" in {question.name for question in proposal.questions}
    table = proposal.mapping.apply(
        pl.DataFrame([row, row | {"Mileage": "61000"}, row | {"Mileage": "9,000 km"}])
    )
    assert table["odometer_km"].to_list() == ["54,000 (unit not said)", "61000 (unit not said)", "9000"]


def test_the_order_of_dates_is_asked_by_the_first_of_them_each_time() -> None:
    days = [f"{day}/{month}/2020" for day in range(9, 0, -1) for month in range(1, 10)]
    table = pl.DataFrame({"Make": "Corvane", "Model": "Six", "Year": "1966", "Sold on": days})
    whys = {question.why for question in propose(table, "club").questions if question.name == "order"}
    assert whys == {"dates such as '9/1/2020' can be read in several orders; say which of them"}
