"""A whole market from one place to another, where each place is a file or a server."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pricing.errors import MarketError
from pricing.progress import Progress, untold
from pricing.store.connection import TIMEOUT_SECONDS, connection, keeper_of, quoted, run
from pricing.store.copying import copy_tables, market_tables
from pricing.store.market import Market
from pricing.store.market_paths import market_path
from pricing.store.opening import new_file
from pricing.store.records.sales import digest


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
    timeout: float = TIMEOUT_SECONDS,
) -> Transfer:
    """Copy the market at a place, a file or the address of a server, to another that holds none.

    All of it arrives or nothing: records, quarantine, links, corrections, names, fits, appraisals, the trail.
    On a server the entries begin anew. Raises ``MarketError`` when there is no market to copy, or one in the
    way.
    """
    here, there = market_path(source), market_path(target)
    if not here.is_file():
        raise MarketError(f"{_said(here)} holds no market to copy")
    Market.open(here, create=False, timeout=timeout)  # is it one, and of this version
    if there.exists():
        raise MarketError(f"{_said(there)} holds a market already; copy to where there is none")

    def tell(done: int, total: int) -> None:
        progress("copy", done, total)

    with connection(here, timeout=timeout) as opened:  # nobody writes to the file meanwhile
        rows, copied = _rows(opened), digest(opened)
        keeper = keeper_of(there)
        if keeper is not None:
            if not keeper.found(there, opened, timeout=timeout, tell=tell):
                raise MarketError(f"{_said(there)} has come to hold a market meanwhile; nothing was copied")
        else:
            _copy_file(opened, there, sum(rows.values()), tell)
    with connection(there, timeout=timeout) as arrived:
        if digest(arrived) != copied or _rows(arrived) != rows:
            raise MarketError(
                f"{_said(there)} was written to before its copy could be held against {_said(here)}"
            )
    return Transfer(sum(rows.values()), len(rows), copied)


def _copy_file(
    source: duckdb.DuckDBPyConnection, there: Path, total: int, tell: Callable[[int, int], None]
) -> None:
    done = 0

    def copied(rows: int) -> None:
        nonlocal done
        done += rows
        tell(done, total)

    with new_file(there) as draft, connection(draft, write=True) as target:
        copy_tables(source, target, copied)


def _rows(opened: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How many rows each table of a market has."""
    return {
        table: int(run(opened, f"SELECT count(*) FROM {quoted(table)}")[0][0])  # noqa: S608
        for table in market_tables(opened)
    }


def _said(path: Path) -> str:
    """A place as a person knows it: the file, or the server's address without its password."""
    keeper = keeper_of(path)
    return str(path) if keeper is None else keeper.shown(path)
