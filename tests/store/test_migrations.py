"""A market file of every earlier version becomes one of this version, and is kept as it was."""

import threading
from pathlib import Path

import duckdb
import pytest

from pricing.errors import MarketError
from pricing.store.market import Market
from pricing.store.migrations import EARLIER, VERSION

FIRST = """
CREATE TABLE market (kind VARCHAR, version VARCHAR, base_currency VARCHAR);
CREATE TABLE records (
    record_id VARCHAR, source VARCHAR, source_ref VARCHAR, batch_id VARCHAR, make VARCHAR, model VARCHAR,
    variant VARCHAR, "year" SMALLINT, chassis_number VARCHAR, body_style VARCHAR, drive_side VARCHAR,
    condition_band VARCHAR, condition_score DOUBLE, odometer_km DOUBLE, options VARCHAR[],
    matching_numbers VARCHAR, history_file BOOLEAN, channel VARCHAR, country VARCHAR, outcome VARCHAR,
    event_date DATE, amount DECIMAL(18, 3), currency VARCHAR, price_basis VARCHAR, premium DECIMAL(18, 3),
    low_estimate DECIMAL(18, 3), high_estimate DECIMAL(18, 3), reserve DECIMAL(18, 3),
    highest_bid DECIMAL(18, 3), listed_on DATE, notes VARCHAR,
    price DECIMAL(18, 2), lower_price DECIMAL(18, 2), upper_price DECIMAL(18, 2), rate_date DATE,
    file VARCHAR, row_number BIGINT, chassis_key VARCHAR, model_key VARCHAR, front_id VARCHAR
);
CREATE TABLE batches (
    batch_id VARCHAR, loaded_at TIMESTAMP, files VARCHAR[], read BIGINT, accepted BIGINT, rejected BIGINT,
    known BIGINT, undone_at TIMESTAMP
);
CREATE TABLE quarantine (
    quarantine_id VARCHAR, batch_id VARCHAR, source VARCHAR, file VARCHAR, row_number BIGINT, raw VARCHAR,
    broken_rules VARCHAR[], settled_by VARCHAR
);
CREATE TABLE charges (source VARCHAR, kind VARCHAR, valid_from DATE, currency VARCHAR, terms VARCHAR);
CREATE TABLE links (
    record_id VARCHAR, other_id VARCHAR, rule VARCHAR, batch_id VARCHAR, parted_at TIMESTAMP
);
CREATE TABLE corrections (
    record_id VARCHAR, "column" VARCHAR, old VARCHAR, new VARCHAR, reason VARCHAR, done_at TIMESTAMP
);
CREATE TABLE aliases (field VARCHAR, make VARCHAR, model VARCHAR, typed VARCHAR, name VARCHAR);
CREATE TABLE mappings (source VARCHAR, mapping VARCHAR);
CREATE TABLE suspicions (
    record_id VARCHAR, reason VARCHAR, detail VARCHAR, found_at TIMESTAMP, verdict VARCHAR,
    settled_at TIMESTAMP
);
CREATE TABLE own_rates (currency VARCHAR, rate_date DATE, rate DECIMAL(20, 6));
CREATE TABLE fits (fit_id VARCHAR, fitted_at TIMESTAMP, facts VARCHAR, payload BLOB);
CREATE TABLE audit (done_at TIMESTAMP, action VARCHAR, subject VARCHAR, detail VARCHAR);
"""
"""The tables of version 1, as it was: never to be changed."""


def first_version(path: Path, of: Market) -> Path:
    """A file of version 1 with the contents of a market of today."""
    with duckdb.connect(str(path)) as opened, duckdb.connect(str(of.path), read_only=True) as source:
        opened.execute(FIRST)
        for (table,) in opened.execute("SELECT table_name FROM duckdb_tables()").fetchall():
            rows = source.table(table).to_arrow_table()  # noqa: F841 - named in the statement
            opened.execute(f"INSERT INTO {table} SELECT * FROM rows")  # noqa: S608 - our own tables
        opened.execute("UPDATE market SET version = '1'")
    return path


def layout(path: Path) -> list[tuple[str, str, str]]:
    with duckdb.connect(str(path), read_only=True) as opened:
        return opened.execute(
            "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal ORDER BY ALL"
        ).fetchall()


def version(path: Path) -> str:
    with duckdb.connect(str(path), read_only=True) as opened:
        return str(opened.execute("SELECT version FROM market").fetchall()[0][0])


def test_a_file_of_the_first_version_is_brought_up_to_this_one(small_market: Market, tmp_path: Path) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    before = layout(path)
    market = Market.open(path, create=False)
    fresh = Market.open(tmp_path / "fresh.duckdb")
    assert version(path) == VERSION and layout(path) == layout(fresh.path)
    assert market.digest() == small_market.digest()
    assert market.load_fit() == small_market.load_fit()
    assert market.audit()["action"].to_list()[-1] == "upgrade"
    kept = tmp_path / "market.version-1.duckdb"
    assert version(kept) == "1" and layout(kept) == before
    (tmp_path / "apart").mkdir()
    assert (
        Market.open(kept.rename(tmp_path / "apart/old.duckdb"), create=False).digest()
        == small_market.digest()
    )


def test_many_who_open_it_at_once_upgrade_it_once(small_market: Market, tmp_path: Path) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    failed: list[BaseException] = []

    def open_it() -> None:
        try:
            Market.open(path, create=False).sales()
        except BaseException as error:  # noqa: BLE001
            failed.append(error)

    threads = [threading.Thread(target=open_it) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert Market.open(path).audit()["action"].to_list().count("upgrade") == 1


def test_an_upgrade_that_fails_leaves_the_file_as_it_was(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    before = layout(path)
    monkeypatch.setattr(
        "pricing.store.migrations.STEPS", ("CREATE TABLE tokens (a VARCHAR); SELECT nothing",)
    )
    with pytest.raises(duckdb.Error):
        Market.open(path, create=False)
    assert version(path) == "1" and layout(path) == before


def test_a_file_of_a_later_version_is_refused(small_market: Market, tmp_path: Path) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    with duckdb.connect(str(path)) as opened:
        opened.execute("UPDATE market SET version = '99'")
    with pytest.raises(MarketError, match="of version 99; this program reads version"):
        Market.open(path)
    assert "99" not in EARLIER
