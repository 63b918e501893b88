"""Every table of a market file, once: its columns, what they must hold, and the key of its rows."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import duckdb
import polars as pl

from pricing.opinions.statement import REQUIRED, TYPES
from pricing.records.contract import Contract
from pricing.store.connection import run

KIND: Final = "classic car market"

VERSION: Final = "7"
"""Of the files that this program writes; raised with any change of a table (``migrations``)."""

_SQL_TYPES: Final = {
    pl.String(): "VARCHAR",
    pl.Int16(): "SMALLINT",
    pl.Float64(): "DOUBLE",
    pl.Boolean(): "BOOLEAN",
    pl.Date(): "DATE",
    pl.Decimal(18, 3): "DECIMAL(18, 3)",
    pl.List(pl.String()): "VARCHAR[]",
}


def _columns(types: Mapping[str, pl.DataType], required: Collection[str]) -> str:
    """Columns of polars types, as SQL."""
    return ", ".join(
        f"{name} {_SQL_TYPES[kind]}{' NOT NULL' if name in required else ''}" for name, kind in types.items()
    )


def _record_columns() -> str:
    """The contract's columns, as SQL."""
    required = {name for name, column in Contract.columns().items() if not column.nullable}
    return _columns(dict(pl.Schema(Contract)), required)


@dataclass(frozen=True)
class Table:
    """A table: its columns as SQL, and those by which a row is told from all others; none where rows may be
    alike. With ``bulk`` the key is an index apart. The first load makes it when its rows are committed, which
    takes all processors, where within a transaction it takes one; a change of all rows leaves it off and
    makes it again in one transaction. A later load keeps it row by row: to drop an index in a transaction
    has DuckDB write every row of it anew at the end."""

    columns: str
    key: tuple[str, ...] = ()
    bulk: bool = False


TABLES: Final = {
    "market": Table(
        "kind VARCHAR NOT NULL, version VARCHAR NOT NULL, base_currency VARCHAR NOT NULL", ("kind",)
    ),
    "records": Table(
        f"{_record_columns()}, price DECIMAL(18, 2), lower_price DECIMAL(18, 2), upper_price DECIMAL(18, 2), "
        "rate_date DATE, file VARCHAR NOT NULL, row_number BIGINT NOT NULL, chassis_key VARCHAR, "
        "model_key VARCHAR, front_id VARCHAR",
        ("record_id",),
        bulk=True,
    ),
    "batches": Table(
        "batch_id VARCHAR NOT NULL, loaded_at TIMESTAMP NOT NULL, files VARCHAR[] NOT NULL, "
        "read BIGINT NOT NULL, accepted BIGINT NOT NULL, rejected BIGINT NOT NULL, known BIGINT NOT NULL, "
        "undone_at TIMESTAMP",
        ("batch_id",),
    ),
    "quarantine": Table(
        "quarantine_id VARCHAR NOT NULL, batch_id VARCHAR NOT NULL, source VARCHAR NOT NULL, "
        "file VARCHAR NOT NULL, row_number BIGINT NOT NULL, raw VARCHAR NOT NULL, "
        "broken_rules VARCHAR[] NOT NULL, settled_by VARCHAR",
        ("quarantine_id",),
        bulk=True,
    ),
    "charges": Table(
        "source VARCHAR NOT NULL, kind VARCHAR NOT NULL, valid_from DATE NOT NULL, "
        "currency VARCHAR NOT NULL, terms VARCHAR NOT NULL",
        ("source", "kind", "valid_from", "currency"),
    ),
    "links": Table(
        "record_id VARCHAR NOT NULL, other_id VARCHAR NOT NULL, rule VARCHAR NOT NULL, "
        "batch_id VARCHAR NOT NULL, parted_at TIMESTAMP",
        ("record_id", "other_id"),
    ),
    "corrections": Table(
        'record_id VARCHAR NOT NULL, "column" VARCHAR NOT NULL, old VARCHAR, new VARCHAR, '
        "reason VARCHAR NOT NULL, done_at TIMESTAMP NOT NULL"
    ),
    "aliases": Table(
        "field VARCHAR NOT NULL, make VARCHAR, model VARCHAR, typed VARCHAR NOT NULL, name VARCHAR NOT NULL"
    ),
    "mappings": Table("source VARCHAR NOT NULL, mapping VARCHAR NOT NULL", ("source",)),
    "suspicions": Table(
        "record_id VARCHAR NOT NULL, reason VARCHAR NOT NULL, detail VARCHAR, found_at TIMESTAMP NOT NULL, "
        "verdict VARCHAR, settled_at TIMESTAMP",
        ("record_id", "reason"),
    ),
    "own_rates": Table(
        "currency VARCHAR NOT NULL, rate_date DATE NOT NULL, rate DECIMAL(20, 6) NOT NULL",
        ("currency", "rate_date"),
    ),
    "fits": Table(
        "fit_id VARCHAR NOT NULL, fitted_at TIMESTAMP NOT NULL, facts VARCHAR NOT NULL, "
        "payload BLOB NOT NULL",
        ("fit_id",),
    ),
    "scores": Table(
        "fit_id VARCHAR NOT NULL, records VARCHAR NOT NULL, scored_at TIMESTAMP NOT NULL, "
        "facts VARCHAR NOT NULL, payload BLOB NOT NULL",
        ("fit_id",),
    ),
    "opinions": Table(
        f"opinion_id VARCHAR NOT NULL, {_columns(TYPES, REQUIRED)}, file VARCHAR, "
        "kept_at TIMESTAMP NOT NULL, withdrawn_at TIMESTAMP, withdrawn_for VARCHAR",
        ("opinion_id",),
    ),
    "settings": Table("name VARCHAR NOT NULL, value VARCHAR NOT NULL", ("name",)),
    "evidence_choices": Table(
        "subject VARCHAR NOT NULL, record_id VARCHAR NOT NULL, action VARCHAR NOT NULL, line VARCHAR, "
        "per_cent DOUBLE, reason VARCHAR NOT NULL, made_at TIMESTAMP NOT NULL",
        ("subject", "made_at"),
    ),
    "kept_cars": Table(
        "car_id VARCHAR NOT NULL, name VARCHAR NOT NULL, notes VARCHAR NOT NULL, car VARCHAR NOT NULL, "
        "sheet VARCHAR, subject VARCHAR, appraisal_id VARCHAR, kept_at TIMESTAMP NOT NULL, seen VARCHAR, "
        "sold_as VARCHAR",
        ("car_id",),
    ),
    "kept_car_prices": Table(
        "car_id VARCHAR NOT NULL, noted_on DATE NOT NULL, amount DECIMAL(18, 3) NOT NULL, "
        "currency VARCHAR NOT NULL",
        ("car_id", "noted_on"),
    ),
    "kept_car_photos": Table(
        "car_id VARCHAR NOT NULL, number INTEGER NOT NULL, content BLOB NOT NULL, kept_at TIMESTAMP NOT NULL",
        ("car_id", "number"),
    ),
    "appraisals": Table(
        "appraisal_id VARCHAR NOT NULL, revision INTEGER NOT NULL, record VARCHAR NOT NULL, "
        "evidence_digest VARCHAR, made_at TIMESTAMP NOT NULL, made_by VARCHAR NOT NULL, "
        "reason VARCHAR NOT NULL",
        ("appraisal_id", "revision"),
    ),
    "photographs": Table(
        "digest VARCHAR NOT NULL, content BLOB NOT NULL, shown BLOB NOT NULL, kind VARCHAR NOT NULL, "
        "width INTEGER NOT NULL, height INTEGER NOT NULL, taken_on DATE, removed VARCHAR[] NOT NULL, "
        "kept_at TIMESTAMP NOT NULL",
        ("digest",),
    ),
    "appraisal_evidence": Table("digest VARCHAR NOT NULL, content VARCHAR NOT NULL", ("digest",)),
    "appraisal_changes": Table(
        "appraisal_id VARCHAR NOT NULL, revision INTEGER NOT NULL, field VARCHAR NOT NULL, "
        "old VARCHAR NOT NULL, new VARCHAR NOT NULL",
        ("appraisal_id", "revision", "field"),
    ),
    "profiles": Table(
        "kind VARCHAR NOT NULL, name VARCHAR NOT NULL, answers VARCHAR NOT NULL, kept_at TIMESTAMP NOT NULL",
        ("kind", "name"),
    ),
    "tokens": Table(
        "token_id VARCHAR NOT NULL, name VARCHAR NOT NULL, role VARCHAR NOT NULL, "
        "digest VARCHAR NOT NULL UNIQUE, made_at TIMESTAMP NOT NULL, expires_at TIMESTAMP, "
        "revoked_at TIMESTAMP",
        ("token_id",),
    ),
    "answers": Table(
        "key VARCHAR NOT NULL, request VARCHAR NOT NULL, status INTEGER NOT NULL, content VARCHAR NOT NULL, "
        "made_at TIMESTAMP NOT NULL",
        ("key",),
    ),
    "audit": Table(
        "done_at TIMESTAMP NOT NULL, action VARCHAR NOT NULL, subject VARCHAR NOT NULL, "
        "detail VARCHAR NOT NULL"
    ),
}
"""``raw``, ``terms``, ``facts``, ``record``, ``detail``, ``answers`` and ``content`` are JSON. ``settled_by``
is the batch that brought a mended row in. ``front_id`` is the primary record of the same sale, null where it
is itself. ``rate`` is what one unit of the base currency buys. The times of the choices about a subject are
the order in which they were made."""


def create_tables(opened: duckdb.DuckDBPyConnection) -> None:
    """Make every table of the schema, in an empty file; ``create_missing_keys`` is due with the first rows of
    a ``bulk`` table."""
    for name in TABLES:
        create_table(opened, name, name)


def create_table(opened: duckdb.DuckDBPyConnection, name: str, called: str) -> None:
    """Make a table of the schema, empty, under a name, without the key of a ``bulk`` table."""
    table = TABLES[name]
    key = f", PRIMARY KEY ({', '.join(table.key)})" if table.key and not table.bulk else ""
    run(opened, f"CREATE TABLE {called} ({table.columns}{key})")


def create_key(opened: duckdb.DuckDBPyConnection, name: str) -> None:
    """Make the key of a ``bulk`` table; raises ``duckdb.ConstraintException`` where two rows have one."""
    run(opened, f"CREATE UNIQUE INDEX {name}_key ON {name} ({', '.join(TABLES[name].key)})")


def drop_key(opened: duckdb.DuckDBPyConnection, name: str) -> None:
    """Leave the key of a ``bulk`` table off, to be made again in the same transaction."""
    run(opened, f"DROP INDEX IF EXISTS {name}_key")


def missing_keys(opened: duckdb.DuckDBPyConnection, names: Iterable[str]) -> list[str]:
    """Those of these tables that are ``bulk`` and have no key."""
    indexes = {name for (name,) in run(opened, "SELECT index_name FROM duckdb_indexes()")}
    return [name for name in names if name in TABLES and TABLES[name].bulk and f"{name}_key" not in indexes]


def create_missing_keys(opened: duckdb.DuckDBPyConnection, names: Iterable[str]) -> None:
    """Make the keys of those of these tables that are ``bulk`` and have none."""
    for name in missing_keys(opened, names):
        create_key(opened, name)
