"""The tables of a market file, and how one comes to be."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import duckdb
import polars as pl

from pricing.errors import MarketError
from pricing.money.currencies import minor_unit_places
from pricing.records.contract import Contract
from pricing.store.connection import connection, run
from pricing.store.migrations import EARLIER, SERVICE_TABLES, VERSION, upgrade
from pricing.store.place import copies, is_copy

KIND: Final = "classic car market"

_SQL_TYPES: Final = {
    pl.String(): "VARCHAR",
    pl.Int16(): "SMALLINT",
    pl.Float64(): "DOUBLE",
    pl.Boolean(): "BOOLEAN",
    pl.Date(): "DATE",
    pl.Decimal(18, 3): "DECIMAL(18, 3)",
    pl.List(pl.String()): "VARCHAR[]",
}
_RECORD_COLUMNS: Final = ", ".join(f"{name} {_SQL_TYPES[kind]}" for name, kind in pl.Schema(Contract).items())

TABLES: Final = f"""
CREATE TABLE market (kind VARCHAR, version VARCHAR, base_currency VARCHAR);
CREATE TABLE records (
    {_RECORD_COLUMNS},
    price DECIMAL(18, 2), lower_price DECIMAL(18, 2), upper_price DECIMAL(18, 2), rate_date DATE,
    file VARCHAR, row_number BIGINT,
    chassis_key VARCHAR, model_key VARCHAR, front_id VARCHAR
);
CREATE TABLE batches (
    batch_id VARCHAR, loaded_at TIMESTAMP, files VARCHAR[], read BIGINT, accepted BIGINT, rejected BIGINT,
    known BIGINT, undone_at TIMESTAMP
);
CREATE TABLE quarantine (
    quarantine_id VARCHAR, batch_id VARCHAR, source VARCHAR, file VARCHAR, row_number BIGINT, raw VARCHAR,
    broken_rules VARCHAR[], settled_by VARCHAR
);
CREATE TABLE charges (
    source VARCHAR, kind VARCHAR, valid_from DATE, currency VARCHAR, terms VARCHAR
);
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
{SERVICE_TABLES}"""
"""``raw``, ``terms`` and ``facts`` are JSON objects. ``settled_by`` is the batch that brought a mended row
in. ``front_id`` is the better record of the same sale, null where there is none. ``rate`` is what one unit of
the base currency buys."""


def create(path: Path, base_currency: str) -> None:
    """Make an empty market file: whole or not at all, and never over another file. For the local copy of a
    server's market make the market there."""
    minor_unit_places(base_currency)
    with new_file(path) as draft:
        with connection(draft, write=True) as opened:
            run(opened, TABLES)
            run(opened, "INSERT INTO market VALUES (?, ?, ?)", [KIND, VERSION, base_currency])
        if is_copy(path):
            with connection(draft) as opened:
                copies().found(path, opened)


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """A draft to be filled, which becomes the file at ``path``, whole or not at all, unless there is one."""
    if not path.parent.is_dir():
        raise MarketError(f"{path}: there is no such folder")
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".new-market-") as folder:
        draft = Path(folder) / "market.duckdb"
        yield draft
        try:
            os.link(draft, path)
        except FileExistsError:
            return  # another process was quicker, or a local copy was made on the way
        except OSError:
            draft.rename(path)  # a file system without links


def base_currency_of(path: Path, patience: float) -> str:
    """The base currency of a market file, brought up to this version first; refuses any other file."""
    with connection(path, patience=patience) as opened:
        try:
            rows = run(opened, "SELECT kind, version, base_currency FROM market")
        except (duckdb.CatalogException, duckdb.BinderException):
            rows = []
    if len(rows) != 1 or rows[0][0] != KIND:
        raise MarketError(f"{path} is a DuckDB file of another kind, not a market file")
    kind, version, base_currency = rows[0]
    if version in EARLIER:
        upgrade(path, patience)
    elif version != VERSION:
        raise MarketError(
            f"{path} is a market file of version {version}; this program reads version {VERSION}"
        )
    return str(base_currency)
