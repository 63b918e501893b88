"""A whole market from one place to another, where each place is a file or a server."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pricing.errors import MarketError
from pricing.progress import Progress, untold
from pricing.store.changes import COPIED, ROWS_AT_ONCE
from pricing.store.connection import PATIENCE_SECONDS, connection, run
from pricing.store.market import Market
from pricing.store.place import copies, is_copy, market_path
from pricing.store.row_text import TableLayout, layouts, quoted
from pricing.store.sales import digest
from pricing.store.tables import new_file

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
    progress: Progress = untold,
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
    Market.open(here, create=False, patience=patience)  # is it one, and of this version
    if there.exists():
        raise MarketError(f"{_said(there)} holds a market already; copy to where there is none")

    def tell(done: int, total: int) -> None:
        progress("copy", done, total)

    with connection(here, patience=patience) as opened:  # nobody writes to the file meanwhile
        rows, copied = _rows(opened), digest(opened)
        if is_copy(there):
            if not copies().found(there, opened, patience=patience, tell=tell):
                raise MarketError(f"{_said(there)} has come to hold a market meanwhile; nothing was copied")
        else:
            _copy_file(opened, there, sum(rows.values()), tell)
    with connection(there, patience=patience) as arrived:
        if digest(arrived) != copied or _rows(arrived) != rows:
            raise MarketError(
                f"{_said(there)} was written to before its copy could be held against {_said(here)}"
            )
    return Transfer(sum(rows.values()), len(rows), copied)


def _copy_file(
    source: duckdb.DuckDBPyConnection, there: Path, total: int, tell: Callable[[int, int], None]
) -> None:
    with new_file(there) as draft, connection(draft, write=True) as target:
        done = 0
        for table, layout in _tables(source).items():
            run(target, layout.statement)
            for batch in source.table(table).to_arrow_reader(ROWS_AT_ONCE):
                target.register("rows_copied", pl.from_arrow(batch))
                run(target, f"INSERT INTO {quoted(table)} SELECT * FROM rows_copied")  # noqa: S608
                target.unregister("rows_copied")
                done += batch.num_rows
                tell(done, total)


def _tables(opened: duckdb.DuckDBPyConnection) -> dict[str, TableLayout]:
    return {table: layout for table, layout in layouts(opened).items() if table != COPIED}


def _rows(opened: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How many rows each table of a market has."""
    return {
        table: int(run(opened, f"SELECT count(*) FROM {quoted(table)}")[0][0])  # noqa: S608
        for table in _tables(opened)
    }


def _said(path: Path) -> str:
    """A place as a person knows it: the file, or the server's address without its password."""
    return str(copies().server_of(path).shown) if is_copy(path) else str(path)
