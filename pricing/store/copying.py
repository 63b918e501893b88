"""All tables of a market file into another file: the one loop that copies rows as they are."""

from collections.abc import Callable
from typing import Final

import polars as pl

from pricing.progress import Progress
from pricing.store.connection import Opened, add_rows, quoted, run, value
from pricing.store.row_text import TableLayout, layouts
from pricing.store.schema import create_missing_keys

ROWS_AT_ONCE: Final = 100_000

Copied = Callable[[int], None]
"""Called with every lot of rows, with how many there are in it."""

COPIED: Final = "copied_entry"
"""The table of a local copy that says how far it goes; it is no part of the market."""


def market_tables(opened: Opened) -> dict[str, TableLayout]:
    """The tables of a market, of whatever version, by name."""
    return {name: layout for name, layout in layouts(opened).items() if name != COPIED}


def row_counts(opened: Opened) -> dict[str, int]:
    """How many rows each table of a market has."""
    return {
        table: int(value(opened, f"SELECT count(*) FROM {quoted(table)}"))  # noqa: S608
        for table in market_tables(opened)
    }


def counter(progress: Progress, step: str, total: int) -> Copied:
    """What is told of every lot of rows, and tells ``progress`` how many are done by then."""
    done = 0

    def copied(rows: int) -> None:
        nonlocal done
        done += rows
        progress(step, done, total)

    return copied


def copy_tables(source: Opened, target: Opened, copied: Copied) -> None:
    """Copy every table of a market, of whatever version, into an empty file."""
    tables = market_tables(source)
    for name, layout in tables.items():
        run(target, layout.statement)
        for batch in source.table(name).to_arrow_reader(ROWS_AT_ONCE):
            add_rows(target, name, pl.DataFrame(pl.from_arrow(batch)))
            copied(batch.num_rows)
    create_missing_keys(target, {name for (name,) in run(source, "SELECT table_name FROM duckdb_indexes()")})
