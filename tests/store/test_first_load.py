"""A market made by its first load: whole or not at all, in a currency that is told or is the file's own."""

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pricing.errors import FileError, MarketError
from pricing.store.market import Market
from pricing.store.records.first_load import load_into

TODAY = date(2025, 6, 30)
ROW: dict[str, Any] = {
    "make": "Corvane", "model": "Six", "year": "1968", "channel": "private", "country": "GB",
    "outcome": "sold",
    "event_date": "2024-05-01", "amount": "4250", "currency": "GBP", "price_basis": "all-in",
}  # fmt: skip


def notes(folder: Path, *changes: dict[str, Any]) -> Path:
    path = folder / "notes.csv"
    pl.DataFrame([ROW | change for change in changes or ({},)]).write_csv(path)
    return path


def test_a_file_that_is_not_there_leaves_no_market_behind(tmp_path: Path) -> None:
    market = tmp_path / "market.duckdb"
    with pytest.raises(FileError, match="does not exist"):
        load_into(market, [tmp_path / "typo.csv"])
    assert not market.exists()


def test_a_dry_run_leaves_no_market_behind(tmp_path: Path) -> None:
    report = load_into(tmp_path / "market.duckdb", [notes(tmp_path)], today=TODAY, dry_run=True)
    assert report.accepted == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["notes.csv"]


def test_a_new_market_keeps_its_prices_in_the_currency_of_most_records(tmp_path: Path) -> None:
    rows = ({"year": "1966"}, {"year": "1967"}, {"year": "1969", "currency": "EUR"})
    load_into(tmp_path / "market.duckdb", [notes(tmp_path, *rows)], today=TODAY)
    market = Market.open(tmp_path / "market.duckdb")
    assert market.base_currency == "GBP"
    assert market.sales().filter(pl.col("year") == 1966)["price"].to_list() == [Decimal(4250)]


def test_a_currency_that_is_told_holds_and_is_not_changed_by_a_later_load(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    load_into(path, [notes(tmp_path)], base_currency="SEK", today=TODAY)
    assert Market.open(path).base_currency == "SEK"
    assert load_into(path, [notes(tmp_path, {"year": "1971"})], today=TODAY).accepted == 1
    with pytest.raises(MarketError, match="keeps its prices in SEK, not in GBP; .* pricing currency GBP"):
        load_into(path, [notes(tmp_path, {"year": "1972"})], base_currency="GBP", today=TODAY)


def test_a_change_of_the_base_currency_prices_every_record_anew(tmp_path: Path) -> None:
    path, rows = (
        tmp_path / "market.duckdb",
        [{"year": str(1960 + at), "amount": str(4000 + at)} for at in range(9)],
    )
    load_into(path, [notes(tmp_path, *rows)], base_currency="EUR", today=TODAY)
    market = Market.open(path)
    market.store_fit(b"of the old currency", {"last_date": "2024-05-01"})
    assert market.rebase("SEK") == 9
    (tmp_path / "apart").mkdir()
    load_into(tmp_path / "apart/market.duckdb", [notes(tmp_path, *rows)], base_currency="SEK", today=TODAY)
    assert market.digest() == Market.open(tmp_path / "apart/market.duckdb").digest()
    assert market.fits().is_empty() and Market.open(path).base_currency == "SEK"
    assert market.audit()["action"].to_list()[-1] == "rebase"


def test_a_base_currency_that_records_have_no_price_in_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    load_into(path, [notes(tmp_path, {"event_date": "1989-05-01"})], base_currency="GBP", today=TODAY)
    with pytest.raises(MarketError, match="1 records have no price in USD: rate unknown"):
        Market.open(path).rebase("USD")
    assert Market.open(path).base_currency == "GBP"
