"""A market file of every earlier version becomes one of this version, and is kept as it was."""

import gzip
import subprocess
import sys
import threading
from datetime import date
from pathlib import Path
from typing import Any, Final

import duckdb
import polars as pl
import pytest

from pricing.errors import MarketError
from pricing.records.contract import COLUMNS
from pricing.store.market import Market
from pricing.store.migrations import EARLIER, READ_AS
from pricing.store.schema import KIND, TABLES, VERSION

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
            later = "EXCLUDE (date_precision)" if table == "records" else ""
            opened.execute(f"INSERT INTO {table} SELECT * {later} FROM rows")  # noqa: S608 - our own tables
        opened.execute("UPDATE market SET version = '1'")
    return path


SECOND = Path(__file__).with_name("market_version_2.duckdb.gz")
"""A market file as version 2 wrote it, with rows in every table; it is never made anew."""


def second_version(path: Path) -> Path:
    path.write_bytes(gzip.decompress(SECOND.read_bytes()))
    return path


def layout(path: Path) -> list[tuple[str, str, str]]:
    with duckdb.connect(str(path), read_only=True) as opened:
        return opened.execute(
            "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal ORDER BY ALL"
        ).fetchall()


def constraints(path: Path) -> list[tuple[Any, ...]]:
    with duckdb.connect(str(path), read_only=True) as opened:
        held = opened.execute(
            "SELECT table_name, constraint_type, constraint_column_names FROM duckdb_constraints()"
        ).fetchall()
        return sorted(held) + sorted(opened.execute("SELECT sql, '', [''] FROM duckdb_indexes()").fetchall())


def fresh_market(folder: Path) -> Market:
    """A market of this version with its first load, which makes the keys of records and quarantine."""
    row = {
        "make": "Corvane", "model": "Six", "year": 1968, "channel": "private", "country": "GB",
        "outcome": "sold", "event_date": "2024-05-01", "amount": 4250, "currency": "GBP",
        "price_basis": "all-in",
    }  # fmt: skip
    pl.DataFrame([row]).write_csv(folder / "first.csv")
    market = Market.open(folder / "fresh.duckdb")
    assert market.load([folder / "first.csv"]).accepted == 1
    return market


EARLIER_COLUMNS = "COLUMNS(lambda name: name <> 'date_precision')"
"""Without what version 4 added, which is null in every row of an earlier one."""


def rows(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table of the schema, cells by the names of their columns."""
    with duckdb.connect(str(path), read_only=True) as opened:
        held = {name for (name,) in opened.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        return {
            name: sorted(opened.execute(f"SELECT {EARLIER_COLUMNS} FROM {name}").fetchall(), key=repr)  # noqa: S608
            for name in TABLES
            if name in held
        }


def version(path: Path) -> str:
    with duckdb.connect(str(path), read_only=True) as opened:
        return str(opened.execute("SELECT version FROM market").fetchall()[0][0])


def test_a_file_of_the_first_version_is_brought_up_to_this_one(small_market: Market, tmp_path: Path) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    before = layout(path)
    market = Market.open(path, create=False)
    fresh = fresh_market(tmp_path)
    assert version(path) == VERSION and layout(path) == layout(fresh.path)
    assert constraints(path) == constraints(fresh.path)
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


def test_several_programs_that_open_it_at_once_upgrade_it_once(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    path.write_bytes(gzip.decompress((Path(__file__).parent / "market_version_2.duckdb.gz").read_bytes()))
    program = "import sys; from pricing.store.market import Market; print(Market.open(sys.argv[1]).digest())"
    opened = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(path)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for _ in range(3)
    ]  # fmt: skip
    answers = [process.communicate(timeout=240) for process in opened]
    market = Market.open(path)
    assert answers == [(f"{market.digest()}\n", "")] * 3
    assert market.audit()["action"].to_list().count("upgrade") == 1
    assert {file.name for file in tmp_path.iterdir()} == {"market.duckdb", "market.version-2.duckdb"}


def test_an_upgrade_that_fails_leaves_the_file_as_it_was(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    before = layout(path)
    monkeypatch.setitem(READ_AS, "fits", "SELECT * REPLACE (NULL AS payload), 1 AS nth FROM {earlier}")
    with pytest.raises(MarketError, match="cannot be brought up to .*, and is unchanged: .*fits.payload"):
        Market.open(path, create=False)
    assert version(path) == "1" and layout(path) == before


def test_a_file_of_a_later_version_is_refused(small_market: Market, tmp_path: Path) -> None:
    path = first_version(tmp_path / "market.duckdb", small_market)
    with duckdb.connect(str(path)) as opened:
        opened.execute("UPDATE market SET version = '99'")
    with pytest.raises(MarketError, match="of version 99; this program reads version"):
        Market.open(path)
    assert "99" not in EARLIER


def test_a_file_of_the_second_version_loses_nothing(tmp_path: Path) -> None:
    path = second_version(tmp_path / "market.duckdb")
    before = rows(path)
    market = Market.open(path, create=False)
    assert version(path) == VERSION
    fresh = fresh_market(tmp_path)
    assert layout(path) == layout(fresh.path) and constraints(path) == constraints(fresh.path)
    after = rows(path)
    for name in ("opinions", "kept_cars", "kept_car_prices", "kept_car_photos", "profiles", "photographs"):
        assert not after.pop(name)  # a table of the fifth version or a later one
    assert set(before) == set(after) and all(before.values())
    assert after.pop("market") == [(KIND, VERSION, "EUR")] and len(before.pop("market")) == 1
    assert after["audit"][:-1] == before["audit"] or len(after["audit"]) == len(before["audit"]) + 1
    assert set(before.pop("audit")) < set(after.pop("audit"))
    choices, earlier = after.pop("evidence_choices"), before.pop("evidence_choices")
    assert [row[:-1] for row in choices] == [row[:-1] for row in earlier]
    assert after == before
    assert market.sales(every_record=True).height == 6 and market.sales().height == 5
    assert market.load_fit()[0] == b"two" and market.duplicates().height == 1
    assert rows(tmp_path / "market.version-2.duckdb")["records"] == before["records"]


def test_choices_kept_together_keep_their_order(tmp_path: Path) -> None:
    path = second_version(tmp_path / "market.duckdb")
    with duckdb.connect(str(path), read_only=True) as opened:
        order = opened.execute("SELECT action FROM evidence_choices ORDER BY made_at, rowid").fetchall()
    kept = Market.open(path, create=False).choices.about("my car")
    assert [(action,) for action in kept["action"]] == order == [("drop",), ("add",), ("adjust",)]
    assert kept["made_at"].is_unique().all()


def test_a_row_that_was_there_twice_is_there_once(tmp_path: Path) -> None:
    """Earlier versions had no keys; the file as it was is kept."""
    path = second_version(tmp_path / "market.duckdb")
    once = {name: sorted(set(map(repr, kept))) for name, kept in rows(path).items()}
    with duckdb.connect(str(path)) as opened:
        for name, table in TABLES.items():
            if name in once and table.key and name not in ("market", "settings", "evidence_choices"):
                opened.execute(f"INSERT INTO {name} SELECT * FROM {name}")  # noqa: S608
    Market.open(path, create=False)
    after = {name: sorted(map(repr, kept)) for name, kept in rows(path).items()}
    for name, table in TABLES.items():
        if name in once and table.key and name not in ("market", "settings", "evidence_choices"):
            assert after[name] == once[name], name


def test_a_migrated_file_is_worked_with(tmp_path: Path) -> None:
    market = Market.open(second_version(tmp_path / "market.duckdb"), create=False)
    record = market.sales()["record_id"][0]
    market.correct(record, {"year": "1967"}, reason="seen on the plate", today=date(2026, 6, 30))
    assert market.store_fit(b"three", {"rows": 5}) == "fit-0003"
    assert market.undo("batch-0001") == 3


FIRST_KEPT: Final = Path(__file__).with_name("market_version_1.duckdb.gz")
"""A market file as the first program that loaded any wrote it: two loads, the second undone; it is never made
anew."""


def records(path: Path) -> list[tuple[Any, ...]]:
    """What was recorded, by the columns of the contract that every version has."""
    columns = ", ".join(f'"{name}"' for name in COLUMNS if name != "date_precision")
    with duckdb.connect(str(path), read_only=True) as opened:
        return opened.execute(f"SELECT record_id, price, {columns} FROM records ORDER BY 1").fetchall()  # noqa: S608


def test_a_file_of_the_first_program_is_worked_with_and_can_be_gone_back_to(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    path.write_bytes(gzip.decompress(FIRST_KEPT.read_bytes()))
    before, recorded = rows(path), records(path)
    market = Market.open(path, create=False)
    after = rows(path)
    assert version(path) == VERSION and layout(path) == layout(Market.open(tmp_path / "fresh.duckdb").path)
    assert recorded == records(path) and len(recorded) == 25
    assert all(after[name] == before[name] for name in ("batches", "quarantine"))
    assert market.sales(every_record=True).height == 25 and market.quarantine().height == 1
    assert market.batches()["undone_at"].is_not_null().sum() == 1
    record = market.sales()["record_id"][0]
    market.correct(record, {"year": "1967"}, reason="seen on the plate", today=date(2026, 6, 30))
    assert market.undo("batch-0001") == 25
    kept = tmp_path / "market.version-1.duckdb"
    assert version(kept) == "1" and rows(kept) == before, "to go back to: what was written since is not in it"
