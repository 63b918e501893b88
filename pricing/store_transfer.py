"""A whole market from one place to another, where each place is a file or a server."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pricing.errors import MarketError
from pricing.store import Market
from pricing.store_changes import COPIED, ROWS_AT_ONCE
from pricing.store_connection import PATIENCE_SECONDS, connection, run
from pricing.store_place import copies, is_copy, market_path
from pricing.store_server_text import TableLayout, layouts, quoted
from pricing.store_tables import new_file

Progress = Callable[[str, int, int], None]
"""Called with a stage (``copy``), rows done and rows in all."""


@dataclass(frozen=True)
class Transfer:
    """What was copied; ``digest`` is that of the market on either side."""

    rows: int
    tables: int
    digest: str


def copy_market(
    source: str | Path,
    target: str | Path,
    *,
    progress: Progress | None = None,
    patience: float = PATIENCE_SECONDS,
) -> Transfer:
    """Copy the market at a place, a file or the address of a server, to another that holds none.

    All of it arrives or nothing: records, quarantine, links, corrections, names, fits, appraisals, the trail.
    On a server the entries begin anew. Raises ``MarketError`` when there is no market to copy, or one in the
    way.
    """
    here, there = market_path(source), market_path(target)
    if not here.is_file():
        raise MarketError(f"{_said(here)} holds no market to copy")
    market = Market.open(here, create=False, patience=patience)
    if there.exists():
        raise MarketError(f"{_said(there)} holds a market already; copy to where there is none")

    def tell(done: int, total: int) -> None:
        if progress is not None:
            progress("copy", done, total)

    if is_copy(there):
        if not copies().found(there, here, patience=patience, tell=tell):
            raise MarketError(f"{_said(there)} has come to hold a market meanwhile; nothing was copied")
    else:
        _copy_file(here, there, patience, tell)
    copied = Market.open(there, create=False, patience=patience)
    rows = _rows(there, patience)
    if copied.digest() != market.digest() or rows != _rows(here, patience):
        raise MarketError(f"{_said(here)} was written to while it was copied; the copy is as it was before")
    return Transfer(sum(rows.values()), len(rows), copied.digest())


def _copy_file(here: Path, there: Path, patience: float, tell: Callable[[int, int], None]) -> None:
    with (
        new_file(there) as draft,
        connection(here, patience=patience) as source,
        connection(draft, write=True) as target,
    ):
        tables = _tables(source)
        total = sum(_count(source, table) for table in tables)
        done = 0
        for table, layout in tables.items():
            run(target, layout.statement)
            for batch in source.table(table).to_arrow_reader(ROWS_AT_ONCE):
                target.register("rows_copied", pl.from_arrow(batch))
                run(target, f"INSERT INTO {quoted(table)} SELECT * FROM rows_copied")  # noqa: S608
                target.unregister("rows_copied")
                done += batch.num_rows
                tell(done, total)


def _tables(opened: duckdb.DuckDBPyConnection) -> dict[str, TableLayout]:
    return {table: layout for table, layout in layouts(opened).items() if table != COPIED}


def _rows(path: Path, patience: float) -> dict[str, int]:
    """How many rows each table of a market has."""
    with connection(path, patience=patience) as opened:
        return {table: _count(opened, table) for table in _tables(opened)}


def _count(opened: duckdb.DuckDBPyConnection, table: str) -> int:
    return int(run(opened, f"SELECT count(*) FROM {quoted(table)}")[0][0])  # noqa: S608


def _said(path: Path) -> str:
    """A place as a person knows it: the file, or the server's address without its password."""
    return str(copies().server_of(path).shown) if is_copy(path) else str(path)
