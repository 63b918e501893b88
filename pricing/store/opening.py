"""How a market file comes to be, what is looked at before one is used, and how another takes its place, at
once and under the write lock, while what stood there is kept."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

import duckdb

from pricing.errors import FileError, MarketError
from pricing.money.currencies import minor_unit_places
from pricing.store.audit import now
from pricing.store.connection import (
    TIMEOUT_SECONDS,
    add_row,
    connection,
    keeper_of,
    make_one_file,
    run,
    write_turn,
    written_ahead,
)
from pricing.store.migrations import EARLIER, upgrade
from pricing.store.schema import KIND, VERSION, create_tables

ASIDE: Final = ".before-"
"""Stands in the name of a file that was put aside, before the time."""


def create_file(path: Path, base_currency: str) -> None:
    """Make an empty market file: whole or not at all, never over another nor where one was put aside. For the
    local copy of a server's market make the market there."""
    minor_unit_places(base_currency)
    aside = put_aside(path)
    if aside:
        raise MarketError(
            f"{path} does not exist, but {aside[-1].name} beside it was put aside from there: rename it to "
            f"{path.name} to go on with it, or move it elsewhere to begin anew"
        )
    with new_file(path) as draft:
        with connection(draft, write=True) as opened:
            create_tables(opened)
            add_row(opened, "market", kind=KIND, version=VERSION, base_currency=base_currency)
        keeper = keeper_of(path)
        if keeper is not None:
            with connection(draft) as opened:
                keeper.establish(path, opened)


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """A draft to be filled, which becomes the file at ``path``, whole or not at all, unless there is one."""
    if not path.parent.is_dir():
        raise MarketError(f"{path}: there is no such folder")
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".new-market-") as folder:
        draft = Path(folder) / "market.duckdb"
        yield draft
        make_one_file(draft)
        try:
            os.link(draft, path)
        except FileExistsError:
            return  # another process was quicker, or a local copy was made on the way
        except OSError:
            draft.rename(path)  # a file system without links


def base_currency_of(path: Path, timeout: float) -> str:
    """The base currency of a market file, brought up to this version first; refuses any other file."""
    with connection(path, timeout=timeout) as opened:
        try:
            rows = run(opened, "SELECT kind, version, base_currency FROM market")
        except (duckdb.CatalogException, duckdb.BinderException):
            rows = []
    if len(rows) != 1 or rows[0][0] != KIND:
        raise MarketError(f"{path} is a DuckDB file of another kind, not a market file")
    kind, version, base_currency = rows[0]
    if version in EARLIER:
        upgrade(path, timeout)
    elif version != VERSION:
        raise MarketError(
            f"{path} is a market file of version {version}; this program reads version {VERSION}"
        )
    return str(base_currency)


def replace_file(path: Path, draft: Path, *, timeout: float = TIMEOUT_SECONDS) -> Path | None:
    """Put ``draft`` in the place of the market file; returns what stood there, under a name with the time.

    Writers wait meanwhile, and what was acknowledged before is in the file put aside: its log is taken into
    it first, if it can be read. At every moment there is a whole file at ``path``, the old or the new. Raises
    ``FileError`` where the name for what is put aside is taken, ``MarketError`` where the market stays in use
    for ``timeout`` seconds.
    """
    make_one_file(draft)
    _to_disk(draft)
    aside = None
    with write_turn(path, timeout) as take_in_log:
        if path.exists():
            aside = path.with_name(f"{path.stem}{ASIDE}{now():%Y%m%dT%H%M%SZ}{path.suffix}")
            if aside.exists():
                raise FileError(f"{aside}: there is a file of that name already; nothing was restored")
            whole = take_in_log()
            _second_name(path, aside)
            ahead = written_ahead(path)
            if not whole and ahead.exists():
                ahead.rename(written_ahead(aside))
        draft.replace(path)
        _to_disk(path.parent)
    return aside


def put_aside(path: Path) -> list[Path]:
    """The markets that were put aside from a place, newest last."""
    beside, files = f"{path.stem}{ASIDE}", path.parent.glob(f"*{path.suffix}")
    return sorted(file for file in files if file.name.startswith(beside) and file.is_file())


def _second_name(path: Path, aside: Path) -> None:
    """The same file under a second name, or a copy of it where a file system has no links."""
    try:
        os.link(path, aside)
    except FileExistsError:
        raise FileError(f"{aside}: there is a file of that name already; nothing was restored") from None
    except OSError:
        part = aside.with_name(f".{aside.name}.part")
        shutil.copyfile(path, part)
        _to_disk(part)
        part.rename(aside)


def _to_disk(path: Path) -> None:
    """Have the system write a file or folder down; some have no such call for folders."""
    opened = os.open(path, os.O_RDONLY)
    try:
        with suppress(OSError):
            os.fsync(opened)
    finally:
        os.close(opened)
