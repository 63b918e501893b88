"""Every table of a market file, once: its columns, what they must hold, and the key of its rows."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import polars as pl

from pricing.opinions.statement import REQUIRED, TYPES
from pricing.records.contract import Contract
from pricing.store.connection import Opened, run

KIND: Final = "classic car market"

VERSION: Final = "7"
"""Of the files that this program writes; raised with any change of a table (``migrations``)."""

_SQL_TYPES: Final = {
    pl.String(): "VARCHAR",
    pl.Int16(): "SMALLINT",
    pl.Float64(): "DOUBLE",
    pl.Boolean(): "BOOLEAN",
    pl.Date(): "DATE",
    pl.Decimal(18, 3): "DECIMAL(18,3)",
    pl.List(pl.String()): "VARCHAR[]",
}


def _columns(types: Mapping[str, pl.DataType], required: Collection[str]) -> str:
    """Columns of polars types, as a ``StoredTable`` has them."""
    return ", ".join(
        f"{name} {_SQL_TYPES[kind]}{'' if name in required else ' NULL'}" for name, kind in types.items()
    )


_RECORD: Final = _columns(
    dict(pl.Schema(Contract)), [name for name, column in Contract.columns().items() if not column.nullable]
)


@dataclass(frozen=True)
class StoredTable:
    """A table: its columns as SQL, which must hold something unless they may be ``NULL``, and those by which
    a row is told from all others; none where rows may be alike. With ``bulk`` the key is an index apart. The
    first load makes it when its rows are committed, which takes all processors, where within a transaction it
    takes one; a change of all rows leaves it off and makes it again in one transaction. A later load keeps it
    row by row: to drop an index in a transaction has DuckDB write every row of it anew at the end."""

    layout: str
    key: tuple[str, ...] = ()
    bulk: bool = False

    @property
    def columns(self) -> dict[str, str]:
        """Each column's definition by its name."""
        parts = self.layout.split(", ")
        return {part.split()[0].strip('"'): part if " NULL" in part else f"{part} NOT NULL" for part in parts}


TABLES: Final = {
    "market": StoredTable("kind VARCHAR, version VARCHAR, base_currency VARCHAR", ("kind",)),
    "records": StoredTable(
        f"{_RECORD}, price DECIMAL(18,2) NULL, lower_price DECIMAL(18,2) NULL, "
        "upper_price DECIMAL(18,2) NULL, rate_date DATE NULL, file VARCHAR, row_number BIGINT, "
        "chassis_key VARCHAR NULL, model_key VARCHAR NULL, front_id VARCHAR NULL",
        ("record_id",),
        bulk=True,
    ),
    "batches": StoredTable(
        "batch_id VARCHAR, loaded_at TIMESTAMP, files VARCHAR[], read BIGINT, accepted BIGINT, "
        "rejected BIGINT, known BIGINT, undone_at TIMESTAMP NULL",
        ("batch_id",),
    ),
    "quarantine": StoredTable(
        "quarantine_id VARCHAR, batch_id VARCHAR, source VARCHAR, file VARCHAR, row_number BIGINT, "
        "raw VARCHAR, broken_rules VARCHAR[], settled_by VARCHAR NULL",
        ("quarantine_id",),
        bulk=True,
    ),
    "charges": StoredTable(
        "source VARCHAR, kind VARCHAR, valid_from DATE, currency VARCHAR, terms VARCHAR",
        ("source", "kind", "valid_from", "currency"),
    ),
    "links": StoredTable(
        "record_id VARCHAR, other_id VARCHAR, rule VARCHAR, batch_id VARCHAR, parted_at TIMESTAMP NULL",
        ("record_id", "other_id"),
    ),
    "corrections": StoredTable(
        'record_id VARCHAR, "column" VARCHAR, old VARCHAR NULL, new VARCHAR NULL, reason VARCHAR, '
        "done_at TIMESTAMP"
    ),
    "aliases": StoredTable(
        "field VARCHAR, make VARCHAR NULL, model VARCHAR NULL, typed VARCHAR, name VARCHAR"
    ),
    "mappings": StoredTable("source VARCHAR, mapping VARCHAR", ("source",)),
    "suspicions": StoredTable(
        "record_id VARCHAR, reason VARCHAR, detail VARCHAR NULL, found_at TIMESTAMP, verdict VARCHAR NULL, "
        "settled_at TIMESTAMP NULL",
        ("record_id", "reason"),
    ),
    "own_rates": StoredTable(
        "currency VARCHAR, rate_date DATE, rate DECIMAL(20,6)", ("currency", "rate_date")
    ),
    "fits": StoredTable("fit_id VARCHAR, fitted_at TIMESTAMP, facts VARCHAR, payload BLOB", ("fit_id",)),
    "scores": StoredTable(
        "fit_id VARCHAR, records VARCHAR, scored_at TIMESTAMP, facts VARCHAR, payload BLOB", ("fit_id",)
    ),
    "opinions": StoredTable(
        f"opinion_id VARCHAR, {_columns(TYPES, REQUIRED)}, file VARCHAR NULL, kept_at TIMESTAMP, "
        "withdrawn_at TIMESTAMP NULL, withdrawn_for VARCHAR NULL",
        ("opinion_id",),
    ),
    "settings": StoredTable("name VARCHAR, value VARCHAR", ("name",)),
    "evidence_choices": StoredTable(
        "subject VARCHAR, record_id VARCHAR, action VARCHAR, line VARCHAR NULL, per_cent DOUBLE NULL, "
        "reason VARCHAR, made_at TIMESTAMP",
        ("subject", "made_at"),
    ),
    "kept_cars": StoredTable(
        "car_id VARCHAR, name VARCHAR, notes VARCHAR, car VARCHAR, sheet VARCHAR NULL, "
        "subject VARCHAR NULL, appraisal_id VARCHAR NULL, kept_at TIMESTAMP, seen VARCHAR NULL, "
        "sold_as VARCHAR NULL",
        ("car_id",),
    ),
    "kept_car_prices": StoredTable(
        "car_id VARCHAR, noted_on DATE, amount DECIMAL(18,3), currency VARCHAR", ("car_id", "noted_on")
    ),
    "kept_car_photos": StoredTable(
        "car_id VARCHAR, number INTEGER, content BLOB, kept_at TIMESTAMP", ("car_id", "number")
    ),
    "appraisals": StoredTable(
        "appraisal_id VARCHAR, revision INTEGER, record VARCHAR, evidence_digest VARCHAR NULL, "
        "made_at TIMESTAMP, made_by VARCHAR, reason VARCHAR",
        ("appraisal_id", "revision"),
    ),
    "photographs": StoredTable(
        "digest VARCHAR, content BLOB, shown BLOB, kind VARCHAR, width INTEGER, height INTEGER, "
        "taken_on DATE NULL, removed VARCHAR[], kept_at TIMESTAMP",
        ("digest",),
    ),
    "appraisal_evidence": StoredTable("digest VARCHAR, content VARCHAR", ("digest",)),
    "appraisal_changes": StoredTable(
        "appraisal_id VARCHAR, revision INTEGER, field VARCHAR, old VARCHAR, new VARCHAR",
        ("appraisal_id", "revision", "field"),
    ),
    "profiles": StoredTable(
        "kind VARCHAR, name VARCHAR, answers VARCHAR, kept_at TIMESTAMP", ("kind", "name")
    ),
    "tokens": StoredTable(
        "token_id VARCHAR, name VARCHAR, role VARCHAR, digest VARCHAR NOT NULL UNIQUE, made_at TIMESTAMP, "
        "expires_at TIMESTAMP NULL, revoked_at TIMESTAMP NULL",
        ("token_id",),
    ),
    "answers": StoredTable(
        "key VARCHAR, request VARCHAR, status INTEGER, content VARCHAR, made_at TIMESTAMP", ("key",)
    ),
    "audit": StoredTable("done_at TIMESTAMP, action VARCHAR, subject VARCHAR, detail VARCHAR"),
}
"""``raw``, ``terms``, ``facts``, ``record``, ``detail``, ``answers`` and ``content`` are JSON. ``settled_by``
is the batch that brought a mended row in. ``front_id`` is the primary record of the same sale, null where it
is itself. ``rate`` is what one unit of the base currency buys. The times of the choices about a subject are
the order in which they were made."""


def create_tables(opened: Opened) -> None:
    """Make every table, in an empty file; ``create_missing_keys`` is due with the rows of a ``bulk`` one."""
    for name in TABLES:
        create_table(opened, name, name)


def create_table(opened: Opened, name: str, called: str) -> None:
    """Make a table of the schema, empty, under a name, without the key of a ``bulk`` table."""
    table = TABLES[name]
    key = f", PRIMARY KEY ({', '.join(table.key)})" if table.key and not table.bulk else ""
    run(opened, f"CREATE TABLE {called} ({', '.join(table.columns.values())}{key})")


def drop_key(opened: Opened, name: str) -> None:
    """Leave the key of a ``bulk`` table off, to be made again in the same transaction."""
    run(opened, f"DROP INDEX IF EXISTS {name}_key")


def missing_keys(opened: Opened, names: Iterable[str]) -> list[str]:
    """Those of these tables that are ``bulk`` and have no key."""
    indexes = {name for (name,) in run(opened, "SELECT index_name FROM duckdb_indexes()")}
    return [name for name in names if name in TABLES and TABLES[name].bulk and f"{name}_key" not in indexes]


def create_missing_keys(opened: Opened, names: Iterable[str]) -> None:
    """Make the keys of those of these tables that are ``bulk`` and have none. Raises
    ``duckdb.ConstraintException`` where two rows have one."""
    for name in missing_keys(opened, names):
        run(opened, f"CREATE UNIQUE INDEX {name}_key ON {name} ({', '.join(TABLES[name].key)})")
