"""Files as people keep them, loaded: what a cell says itself holds, an optional cell never costs its row, and
every row is accounted for."""

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pricing.errors import TableError
from pricing.intake.written.table import as_written
from pricing.store.market import Market
from pricing.store.records.loading import LoadReport

TODAY = date(2025, 6, 30)
ROW: dict[str, Any] = {
    "make": "Corvane", "model": "Six", "year": "1968", "channel": "private", "country": "GB",
    "outcome": "sold",
    "event_date": "2024-05-01", "amount": "4250", "currency": "GBP", "price_basis": "all-in",
    "odometer_km": "81000",
}  # fmt: skip
MAPPING = """source = "club"
[columns]
make = "make"
model = "model"
year = "year"
event_date = "date"
amount = "price"
odometer_km = "odo"
condition_band = "state"
[constants]
channel = "private"
country = "GB"
outcome = "sold"
currency = "GBP"
price_basis = "all-in"
[dates]
order = "day-month-year"
"""


def load(folder: Path, rows: list[dict[str, Any]], mapping: str | None = None) -> tuple[Market, LoadReport]:
    path = folder / "notes.csv"
    pl.DataFrame(rows, infer_schema_length=None).write_csv(path)
    if mapping is not None:
        (folder / "notes.csv.mapping.toml").write_text(mapping)
    market = Market.open(folder / "market.duckdb", base_currency="GBP")
    return market, market.load([path], today=TODAY)


def theirs(**cells: str) -> dict[str, str]:
    row = {
        "make": "Corvane",
        "model": "Six",
        "year": "1968",
        "date": "1/5/2024",
        "price": "4250",
        "odo": "54000",
    }
    return row | {"state": "average"} | cells


def test_a_cells_own_currency_goes_before_the_one_of_the_file(tmp_path: Path) -> None:
    prices = ["£4,500", "€4,500", "4500 USD", "4500", "SEK 45 000"]
    rows = [theirs(price=price, year=str(1960 + place)) for place, price in enumerate(prices)]
    market, report = load(tmp_path, rows, MAPPING)
    assert report.accepted == 5
    sales = market.sales().sort("year")
    assert sales["currency"].to_list() == ["GBP", "EUR", "USD", "GBP", "SEK"]
    assert sales["amount"].to_list() == [Decimal(4500)] * 4 + [Decimal(45000)]
    assert sales["price"][0] == Decimal(4500) and sales["price"][4] < Decimal(4000)
    assert report.said_otherwise == {"currency EUR": 1, "currency USD": 1, "currency SEK": 1}


def test_an_amount_of_an_unknown_dollar_is_no_pound(tmp_path: Path) -> None:
    _, report = load(tmp_path, [theirs(price="$4,500")], MAPPING)
    assert (report.accepted, report.by_rule) == (0, {"currency_missing": 1})


def test_a_distance_with_its_unit_is_read_whatever_the_column_is_said_to_hold(tmp_path: Path) -> None:
    cells = ["92 000 km", "54,000 miles", "54k", "TMU", "n/a", "unknown", "?", "-"]
    rows = [theirs(odo=cell, year=str(1960 + place)) for place, cell in enumerate(cells)]
    market, report = load(tmp_path, rows, MAPPING)
    assert report.accepted == len(cells)
    sales = market.sales().sort("year")
    assert sales["odometer_km"].to_list() == [92000.0, 86904.6, 54000.0, *[None] * 5]
    assert sales["notes"].to_list() == [None, None, None, "odometer: TMU", *[None] * 4]
    assert report.said_otherwise == {"odometer in miles": 1}
    assert report.not_known == {"odometer_km": 1}


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("odometer_km", "low"), ("condition_band", "nice engine"), ("condition_score", "one"),
        ("drive_side", "middle"),
        ("listed_on", "last week"), ("history_file", "perhaps"), ("reserve", "a lot"), ("odometer_km", "-5"),
        ("condition_score", "101"), ("matching_numbers", "hoped"), ("channel", "raffle"), ("country",
        "Atlantis"),
        ("options", "overdrive;ejector seat"), ("highest_bid", "0"),
    ],
)  # fmt: skip
def test_an_optional_cell_never_costs_its_row(tmp_path: Path, column: str, cell: str) -> None:
    market, report = load(tmp_path, [ROW | {column: cell}])
    assert (report.accepted, report.not_known) == (1, {column: 1})
    row = market.sales().row(0, named=True)
    assert row[column] == (["overdrive"] if column == "options" else None)
    assert cell.split(";")[-1] in row["notes"]


def test_columns_named_as_those_that_are_added_on_the_way_are_only_columns(tmp_path: Path) -> None:
    named = (
        "place", "unreadable", "broken_rules", "not_known", "said_otherwise", "unpriced", "mends", "file",
        "record_id", "batch_id", "quarantine_id", "row_number", "unseen",
    )  # fmt: skip
    row = ROW | dict.fromkeys(named, "x")
    market, report = load(tmp_path, [row, row | {"make": ""}])
    assert (report.accepted, report.by_rule) == (1, {"make_missing": 1})
    assert market.quarantine()["raw"].str.json_path_match("$.not_known").to_list() == ["x"]


def test_types_that_no_cell_has_cost_no_row_that_can_be_without(tmp_path: Path) -> None:
    odd = {
        "notes": pa.array([[("a", "b")]], pa.map_(pa.string(), pa.string())),
        "variant": pa.array([[b"\xff"]]),
        "options": pa.array([{"a": 1}]),
    }
    table = {name: [cell] for name, cell in ROW.items()} | odd
    pq.write_table(pa.table(table), tmp_path / "notes.parquet")
    market = Market.open(tmp_path / "market.duckdb", base_currency="GBP")
    report = market.load([tmp_path / "notes.parquet"], today=TODAY)
    assert (report.accepted, report.not_known) == (1, {"variant": 1, "options": 1})
    notes = market.sales()["notes"].item()
    assert '"key":"a","value":"b"' in notes and "variant: ff" in notes


def test_a_month_or_a_year_is_a_span_and_the_same_record_whenever_it_is_loaded(tmp_path: Path) -> None:
    days = ["Mar 2019", "2019", "12th March 2019"]
    rows = [theirs(date=day, year=str(1960 + place)) for place, day in enumerate(days)]
    market, report = load(tmp_path, rows, MAPPING)
    assert report.accepted == 3
    sales = market.sales().sort("year")
    assert sales["date_precision"].to_list() == ["month", "year", None]
    assert sales["event_date"].to_list() == [date(2019, 3, 15), date(2019, 7, 1), date(2019, 3, 12)]
    assert market.load([tmp_path / "notes.csv"], today=TODAY).known == 3


def test_not_sold_is_not_sold_whatever_the_file_is_said_to_hold(tmp_path: Path) -> None:
    rows = [
        theirs(price="bid to £3,000"),
        theirs(price="not sold", year="1969"),
        theirs(price="4-5k", year="1970"),
    ]
    market, report = load(tmp_path, rows, MAPPING)
    assert (report.accepted, report.by_rule) == (2, {"sold_without_amount": 1})
    sales = market.sales().sort("year")
    assert sales["outcome"].to_list() == ["unsold", "unsold"]
    assert sales["highest_bid"].to_list() == [Decimal(3000), None]
    assert report.said_otherwise == {"outcome unsold": 2}


def test_a_lot_without_any_amount_needs_no_currency(tmp_path: Path) -> None:
    """Nothing of it is in a currency: that of the market stands, and it is the same record under another."""
    unsold = ROW | {"outcome": "unsold", "currency": "", "amount": "", "price_basis": "hammer"}
    rows = [ROW, unsold | {"year": "1969"}, unsold | {"year": "1970", "amount": "no bids"}]
    rows += [unsold | {"year": "1971", "highest_bid": "3000"}, ROW | {"year": "1972", "currency": ""}]
    rows = [{"highest_bid": ""} | row for row in rows]
    market, report = load(tmp_path, rows)
    assert (report.accepted, report.by_rule) == (3, {"currency_missing": 2})
    assert market.sales().sort("year")["currency"].to_list() == ["GBP", "GBP", "GBP"]
    market.rebase("EUR")
    assert market.load([tmp_path / "notes.csv"], today=TODAY).known == 5


def test_a_lot_without_an_amount_needs_no_currency_by_a_mapping_either(tmp_path: Path) -> None:
    """Cells that say their currencies leave none for those that say no amount."""
    mapping = MAPPING.replace('currency = "GBP"\n', "")
    rows = [
        theirs(price="£4,500"),
        theirs(price="€4,500", year="1969"),
        theirs(price="not sold", year="1970"),
    ]
    market, report = load(tmp_path, rows, mapping)
    assert (report.accepted, report.by_rule) == (3, {})
    assert market.sales().sort("year")["currency"].to_list() == ["GBP", "EUR", "GBP"]


def test_a_later_file_of_a_source_is_recognised_by_its_headings(tmp_path: Path) -> None:
    market, _ = load(tmp_path, [theirs()], MAPPING)
    pl.DataFrame([theirs(price="£5,000", year="1970") | {"colour": "red"}]).write_csv(
        tmp_path / "next year.csv"
    )
    report = market.load([tmp_path / "next year.csv"], today=TODAY)
    assert (report.accepted, report.recognised) == (1, {"next year.csv": "club"})
    pl.DataFrame([{"a": "b", "c": "d"}]).write_csv(tmp_path / "other.csv")
    with pytest.raises(TableError, match="has no column .* pricing map .*other.csv"):
        market.load([tmp_path / "other.csv"], today=TODAY)


def test_rows_already_in_quarantine_are_reported_as_such(tmp_path: Path) -> None:
    market, report = load(tmp_path, [ROW | {"amount": "-1"}, ROW])
    assert (report.rejected, report.waiting) == (1, 0)
    again = market.load([tmp_path / "notes.csv"], today=TODAY)
    assert (again.known, again.waiting) == (2, 1)


CELLS = st.one_of(
    st.sampled_from([
        "", "?", "n/a", "£4,500", "SEK 45 000", "4-5k", "not sold", "bid to 3k", "POA", "12 mars 2019",
        "2019", "03/2019",
        "'67", "c.1965", "54k miles", "92 000 km", "TMU", "barn find", "gut", "sold", "yes", "=1+1", "-5",
        "1e9",
    ]),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12),
    st.integers(-10, 10**7).map(str),
)  # fmt: skip


@pytest.mark.soak
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(st.fixed_dictionaries(dict.fromkeys(theirs(), CELLS)), min_size=1, max_size=12),
    mapped=st.booleans(),
)
def test_every_row_is_accepted_in_quarantine_or_known(
    tmp_path: Path, rows: list[dict[str, str]], mapped: bool
) -> None:
    """Whatever the cells say: read is accepted, quarantined and known, and a second load knows all of it."""
    for path in tmp_path.iterdir():
        path.unlink()
    ours = {"year": "year", "amount": "price", "odometer_km": "odo", "event_date": "date"}
    whole = [ROW | {name: row[theirs] for name, theirs in ours.items()} for row in rows]
    market, report = load(tmp_path, rows if mapped else whole, MAPPING if mapped else None)
    assert report.read == report.accepted + report.rejected + report.known
    assert report.accepted == market.sales(every_record=True).height
    assert report.rejected == market.quarantine().height
    again = market.load([tmp_path / "notes.csv"], today=TODAY)
    assert (again.read, again.known) == (report.read, report.read)


def test_a_dash_is_an_unsold_lot_where_all_are_stated_as_sold_at_an_auction() -> None:
    """Results lists put a dash where a lot did not sell: common practice, no source."""
    rows = pl.DataFrame({"amount": ["9200", "-", "?", None]}).with_columns(
        outcome=pl.lit("sold"), channel=pl.lit("auction"), currency=pl.lit("GBP")
    )
    read = as_written(rows, for_all=("outcome", "channel", "currency"))
    assert read["outcome"].to_list() == ["sold", "unsold", "sold", "sold"]
    assert read["amount"].to_list() == ["9200", None, None, None]
    private = as_written(rows.with_columns(channel=pl.lit("private")), for_all=("outcome",))
    assert private["outcome"].to_list() == ["sold"] * 4, "a private sale's dash is a price not known"
    by_column = as_written(rows)
    assert by_column["outcome"].to_list() == ["sold"] * 4, "a column that says sold goes before a dash"


def test_what_is_asked_for_is_an_asking_price_whatever_is_stated_for_every_row() -> None:
    rows = pl.DataFrame({"amount": ["9800", "8400"], "outcome": ["asking", "sold"]}).with_columns(
        price_basis=pl.lit("all-in"), currency=pl.lit("EUR")
    )
    read = as_written(rows, for_all=("price_basis", "currency"))
    assert read["price_basis"].to_list() == ["asking", "all-in"]
    assert as_written(rows)["price_basis"].to_list() == ["all-in"] * 2
