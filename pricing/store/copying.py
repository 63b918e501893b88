"""All tables of a market file into another file: the one loop that copies rows as they are."""

from collections.abc import Callable
from typing import Final

import duckdb
import polars as pl

from pricing.store.connection import quoted, run
from pricing.store.row_text import TableLayout, layouts
from pricing.store.schema import create_missing_keys

ROWS_AT_ONCE: Final = 100_000

COPIED: Final = "copied_entry"
"""The table of a local copy that says how far it goes; it is no part of the market."""


def market_tables(opened: duckdb.DuckDBPyConnection) -> dict[str, TableLayout]:
    """The tables of a market, of whatever version, by name."""
    return {name: layout for name, layout in layouts(opened).items() if name != COPIED}


def copy_tables(
    source: duckdb.DuckDBPyConnection, target: duckdb.DuckDBPyConnection, copied: Callable[[int], None]
) -> None:
    """Copy every table of a market, of whatever version, into an empty file; ``copied`` is told of every
    lot of rows."""
    tables = market_tables(source)
    for name, layout in tables.items():
        run(target, layout.statement)
        columns = ", ".join(quoted(column) for column, _ in layout.columns)
        for batch in source.table(name).to_arrow_reader(ROWS_AT_ONCE):
            target.register("rows_copied", pl.from_arrow(batch))
            run(target, f"INSERT INTO {quoted(name)} ({columns}) SELECT {columns} FROM rows_copied")  # noqa: S608
            target.unregister("rows_copied")
            copied(batch.num_rows)
    indexed = {name for (name,) in run(source, "SELECT table_name FROM duckdb_indexes()")}
    create_missing_keys(target, indexed)
