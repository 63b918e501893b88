"""A damaged market: every page read, and what can still be read written into a new market."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import polars as pl

from pricing.errors import DamagedError, MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connection import (
    Opened,
    add_row,
    add_rows,
    connection,
    file_connection,
    frame,
    quoted,
    run,
)
from pricing.store.copying import market_tables
from pricing.store.opening import new_file
from pricing.store.schema import KIND, TABLES, VERSION, create_missing_keys, create_tables

SMALLEST: Final = 2048
"""Rows that are read together at least: as many as DuckDB keeps in one vector."""

NAMED: Final = 20
"""Lost records that are named, where their names can be read."""


@dataclass(frozen=True)
class Salvaged:
    """What was saved: rows by table; and what was lost, in words."""

    rows: dict[str, int]
    lost: tuple[str, ...]


def read_every_page(path: Path) -> dict[str, int]:
    """Read every cell of every table, by which each of their pages is held to its checksum; rows by table.
    Raises ``DamagedError`` where a page is not as it was written; the message names its table."""
    rows = {}
    with connection(path) as opened:
        tables = list(market_tables(opened))
    for name in tables:
        try:
            with connection(path) as opened:
                every = f"SELECT count(*), bit_xor(hash(cells)) FROM {quoted(name)} AS cells"  # noqa: S608
                ((rows[name], _),) = run(opened, every)
        except DamagedError as error:
            raise DamagedError(f"table {name}: {error}") from None
    return rows


def altered_evidence(path: Path) -> list[str]:
    """Digests of the appraisal evidence and photographs that do not match their own."""
    with connection(path) as opened:
        contents = run(opened, "SELECT digest, content FROM appraisal_evidence ORDER BY digest")
        shots = run(opened, "SELECT digest FROM photographs WHERE sha256(content) <> digest ORDER BY digest")
    altered = [
        f"evidence {digest[:12]}"
        for digest, content in contents
        if hashlib.sha256(content.encode()).hexdigest() != digest
    ]
    return altered + [f"photograph {digest[:12]}" for (digest,) in shots]


def salvage(path: Path, target: Path, *, base_currency: str | None = None) -> Salvaged:
    """Write every row of a damaged market that can be read into a new market at ``target``.

    Rows are read together as far as they can be, then in ever smaller lots. A cell that cannot be read stays
    empty where a row can be without it, and else its row is lost. Raises ``MarketError`` where a file is at
    ``target``, nothing can be read, or the base currency is neither readable nor given.
    """
    if target.exists():
        raise MarketError(f"{target}: there is a file of that name already; nothing was written")
    with file_connection(path) as opened:  # a file that cannot even be opened has nothing to give
        tables = [name for name in TABLES if name in market_tables(opened)]
    lost: list[str] = []
    rows: dict[str, int] = {}
    with new_file(target) as draft, file_connection(draft, write=True) as new:
        create_tables(new)
        create_missing_keys(new, TABLES)
        for name in tables:
            if name == "market":
                add_row(new, name, kind=KIND, version=VERSION, base_currency=_currency(path, base_currency))
                rows[name] = 1
                continue
            rows[name] = 0
            for part, why in _read(path, name):
                if why:
                    lost.append(why)
                if part is not None:
                    rows[name] += _insert(new, name, part, lost)
        write_audit(new, now(), "salvage", path.name, {"rows": sum(rows.values()), "lost": lost[:100]})
    return Salvaged(rows, tuple(lost))


def _currency(path: Path, default: str | None) -> str:
    try:
        with file_connection(path) as opened:
            ((currency,),) = run(opened, "SELECT base_currency FROM market")
    except (DamagedError, ValueError):
        currency = default
    if currency is None:
        raise MarketError(f"{path}: its base currency cannot be read; say it with --base-currency")
    return str(currency)


def _read(path: Path, name: str) -> Iterator[tuple[pl.DataFrame | None, str]]:
    """The rows of a table in the largest lots that can be read, and what was lost between them."""
    whole = _rows(path, name, "*", 0, 2**62)
    if whole is not None:
        yield whole, ""
        return
    try:
        with file_connection(path) as opened:
            ((end,),) = run(opened, f"SELECT coalesce(max(rowid) + 1, 0) FROM {quoted(name)}")  # noqa: S608
            columns = [column for column, _ in market_tables(opened)[name].columns]
    except DamagedError:
        yield None, f"{name}: all of it; how many rows it had cannot be read"
        return
    waiting = [(0, int(end))]
    while waiting:
        first, last = waiting.pop()
        part = _rows(path, name, "*", first, last)
        if part is not None:
            yield part, ""
        elif last - first > SMALLEST:
            middle = first + -(-(last - first) // 2 // SMALLEST) * SMALLEST
            waiting += [(middle, last), (first, middle)]
        else:
            yield _by_columns(path, name, columns, first, last)


def _rows(path: Path, name: str, columns: str, first: int, last: int) -> pl.DataFrame | None:
    """Some columns of some rows; None where they cannot be read."""
    try:
        with file_connection(path) as opened:
            query = f"SELECT {columns} FROM {quoted(name)} WHERE rowid >= ? AND rowid < ? ORDER BY rowid"  # noqa: S608
            return frame(opened, query, [first, last])
    except DamagedError:
        return None


def _by_columns(
    path: Path, name: str, columns: list[str], first: int, last: int
) -> tuple[pl.DataFrame | None, str]:
    """Rows with those of their columns that can be read, if they can be without the others."""
    read = {column: _rows(path, name, quoted(column), first, last) for column in columns}
    missing = [column for column, cells in read.items() if cells is None]
    needed = [column for column in missing if "NOT NULL" in TABLES[name].columns.get(column, "")]
    where = f"{name}, rows {first + 1:,} to {last:,}: {', '.join(missing)} cannot be read"
    if not needed:
        readable = [cells for cells in read.values() if cells is not None]
        return pl.concat(readable, how="horizontal"), f"{where}; the rows are saved without"
    named = read.get(TABLES[name].key[0]) if TABLES[name].key else None
    names = [] if named is None else [str(key)[:12] for key in named[:, 0].head(NAMED)]
    more = f", among them {', '.join(names)}" if names else ""
    return None, f"{where}, without which there is no row{more}"


def _insert(new: Opened, name: str, part: pl.DataFrame, lost: list[str]) -> int:
    """Insert rows into the new market; those that it cannot hold are lost."""
    count = add_rows(
        new, name, part, clash="skip" if TABLES[name].key and not TABLES[name].bulk else "refuse"
    )
    if count < part.height:
        lost.append(f"{name}: {part.height - count:,} rows under a name that another has")
    return count
