"""Short-lived connections to a market file, shared fairly between processes and threads.

DuckDB lets one process write or many read, and refuses the others. Here they wait instead. A writer holds an
advisory lock on the file's folder (a turnstile) while it waits and works; a reader passes that turnstile on
its way in, so that readers following upon each other cannot keep a writer out. Where there is no such lock
(Windows) both simply try again until their timeout.
"""

import errno
import os
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path
from typing import Any, Final, Protocol

import duckdb
import polars as pl

from pricing.errors import DamagedError, InUseError, MarketError, WriteFailedError
from pricing.store.place import is_copy

try:
    import fcntl
except ImportError:  # pragma: no cover - Windows
    fcntl = None  # type: ignore[assignment]

TIMEOUT_SECONDS: Final = 60.0
"""How long a connection waits for another process by default."""

Opened = duckdb.DuckDBPyConnection
"""A market file that is open, for one piece of work."""


class Connect(Protocol):
    """Gives a connection to one market, for one piece of work; with ``write`` one transaction."""

    def __call__(self, *, write: bool = False, keep: bool = True) -> AbstractContextManager[Opened]:
        """See ``connection``."""


Values = list[Any] | dict[str, Any] | None
"""What is bound to a statement's parameters, by place or by name."""

_CONFIG: Final[dict[str, str | bool | int | float | list[str]]] = {
    "enable_external_access": "false",
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "preserve_insertion_order": "false",
}
_WRITES: Final[Counter[Path]] = Counter()
_BUSY: Final = (
    "Conflicting lock", "different configuration", "being used by another process", "unique file handle",
)  # fmt: skip
_WRITE_FAILURES: Final = (
    duckdb.IOException, duckdb.FatalException, duckdb.OutOfMemoryException, duckdb.TransactionException,
)  # fmt: skip
"""What is raised when a file cannot be written to; the last of them when that shows only at the commit."""

_NO_ROOM: Final = (os.strerror(errno.ENOSPC), os.strerror(errno.EFBIG), os.strerror(errno.EDQUOT))
_MAKE_ROOM: Final = "make room on the disk and ask again"

_DAMAGE: Final = (duckdb.InternalException, duckdb.SerializationException)
_DAMAGE_SIGNS: Final = (
    "Corrupt database file", "Failed to deserialize", "could not be read from block",
    "Could not read enough bytes",
)  # fmt: skip


class Keeper(Protocol):
    """What works with servers that keep a market, of which a file is the local copy."""

    def copy_connection(
        self, path: Path, *, write: bool, keep: bool, timeout: float
    ) -> AbstractContextManager[Opened]:
        """A connection to a local copy; see ``connection``."""

    def establish(
        self,
        path: Path,
        market: Opened,
        *,
        timeout: float = TIMEOUT_SECONDS,
        copied: Callable[[int], None] | None = None,
    ) -> bool:
        """Make the market of an open file the one that the server keeps; false when it keeps one already."""

    def key_held(self, path: Path, key: str) -> AbstractContextManager[bool]:
        """Hold the key of a piece of work on all machines; false when it is held elsewhere."""

    def password_variables(self, path: Path) -> dict[str, str]:
        """What a process that is given the path needs in its environment."""

    def shown(self, path: Path) -> str:
        """The server's address without its password."""


_KEEPERS: Final[list[Keeper]] = []


def attach(keeper: Keeper) -> None:
    """Hand in what works with servers, before the first market of one is opened."""
    _KEEPERS[:] = [keeper]


def keeper_of(path: Path) -> Keeper | None:
    """What keeps a market file beside the file itself: nothing, unless it is the local copy of a server's.
    Raises ``MarketError`` when it is such a copy and no market of a server was opened."""
    if not is_copy(path):
        return None
    if not _KEEPERS:
        raise MarketError(f"{path} is the local copy of a server's market: open it with Market.open first")
    return _KEEPERS[0]


def connection(
    path: Path, *, write: bool = False, keep: bool = True, timeout: float = TIMEOUT_SECONDS
) -> AbstractContextManager[Opened]:
    """A connection for one piece of work; with ``write`` the work is one transaction, undone by any error,
    and without ``keep`` in any case. Every question and every write to a market comes through here.

    The local copy of a market on a server is brought up to date first, and what a write changes in it is kept
    by the server before it is kept here (``store.postgres.copy``).

    Raises ``MarketError`` when the file is no DuckDB file, stays in use for ``timeout`` seconds, or the
    disk is full.
    """
    keeper = keeper_of(path)
    if keeper is not None:
        return keeper.copy_connection(path, write=write, keep=keep, timeout=timeout)
    return file_connection(path, write=write, keep=keep, timeout=timeout)


@contextmanager
def file_connection(
    path: Path, *, write: bool = False, keep: bool = True, timeout: float = TIMEOUT_SECONDS
) -> Iterator[Opened]:
    """A connection to a file as it stands; see ``connection``."""
    deadline = time.monotonic() + timeout
    with _turnstile(path, write, deadline), closing(_open(path, write, deadline)) as opened:
        try:
            if write:
                run(opened, "BEGIN TRANSACTION")
            yield opened
            if write:
                run(opened, "COMMIT" if keep else "ROLLBACK")
                _WRITES[path.absolute()] += keep
        except duckdb.Error as error:
            if damaged := _damaged(path, error):
                raise damaged from None
            if isinstance(error, _WRITE_FAILURES):
                raise _unwritten(f"{path}: the market file is unchanged", error) from None
            raise


@contextmanager
def write_turn(path: Path, timeout: float = TIMEOUT_SECONDS) -> Iterator[Callable[[], bool]]:
    """Hold the turn to write without a connection, for what is done to the file as a whole. What it gives
    takes what is written ahead into the file, once nobody else has it open; it says whether the file could be
    opened.
    """
    deadline = time.monotonic() + timeout

    def take_in_log() -> bool:
        try:
            opened = _open(path, True, deadline)
        except MarketError:
            if time.monotonic() > deadline:
                raise
            return False
        _take_in(path, opened)
        return True

    with _turnstile(path, True, deadline):
        yield take_in_log


def make_one_file(path: Path, timeout: float = TIMEOUT_SECONDS) -> None:
    """Take what is written ahead of a file into it, before it is moved as one: where the disk was full when
    it was closed, all of it may stand beside it. Raises ``WriteFailedError`` where there is no room."""
    if written_ahead(path).exists():
        _take_in(path, _open(path, True, time.monotonic() + timeout))


def writes_here(path: Path) -> int:
    """How often this process has written to a file: what it wrote it may look at again at once."""
    return _WRITES[path.absolute()]


def run(
    opened: Opened, statement: str, values: Values = None, **frames: pl.DataFrame
) -> list[tuple[Any, ...]]:
    """Do a statement to its end and give its rows; of an insert or an update that is the number of rows.
    ``frames`` are what it reads under their names."""
    with _registered(opened, frames):
        return opened.execute(statement, values).fetchall()


def value(opened: Opened, statement: str, values: Values = None, **frames: pl.DataFrame) -> Any:
    """The first cell of the rows of a statement; see ``run``. None where it has no rows."""
    rows = run(opened, statement, values, **frames)
    return rows[0][0] if rows else None


def frame(opened: Opened, query: str, values: Values = None, **frames: pl.DataFrame) -> pl.DataFrame:
    """The answer to a query; see ``run``."""
    with _registered(opened, frames):
        return opened.sql(query, params=values).pl()


@contextmanager
def _registered(opened: Opened, frames: Mapping[str, pl.DataFrame]) -> Iterator[None]:
    for name, rows in frames.items():
        opened.register(name, rows)
    yield
    for name in frames:
        opened.unregister(name)


_INSERTS: Final = {"refuse": "INSERT", "skip": "INSERT OR IGNORE", "replace": "INSERT OR REPLACE"}


def add_row(opened: Opened, table: str, **cells: Any) -> None:
    """Add a row to a table, its cells by the names of their columns; a column without one stays empty."""
    names, places = ", ".join(map(quoted, cells)), ", ".join("?" for _ in cells)
    run(opened, f"INSERT INTO {quoted(table)} ({names}) VALUES ({places})", list(cells.values()))  # noqa: S608


def add_rows(
    opened: Opened, table: str, rows: pl.DataFrame | Sequence[Mapping[str, Any]], *, clash: str = "refuse"
) -> int:
    """Add many rows at once, each column by its name; ``clash`` says what becomes of one where there is a row
    of its key: refuse, skip or replace. Returns how many were added."""
    cells = rows if isinstance(rows, pl.DataFrame) else pl.DataFrame(rows, infer_schema_length=None)
    if cells.is_empty():
        return 0
    names = ", ".join(map(quoted, cells.columns))
    statement = f"{_INSERTS[clash]} INTO {quoted(table)} ({names}) SELECT {names} FROM added_rows"  # noqa: S608
    return int(value(opened, statement, added_rows=cells))


def next_name(opened: Opened, table: str, word: str) -> str:
    """The name of the next row of a table whose rows are numbered, from 1, and never taken out."""
    return f"{word}-{value(opened, f'SELECT count(*) + 1 FROM {quoted(table)}'):04d}"  # noqa: S608


def quoted(name: str) -> str:
    """A name as it stands in a statement, of DuckDB and of PostgreSQL."""
    return '"' + name.replace('"', '""') + '"'


def _open(path: Path, write: bool, deadline: float) -> Opened:
    """Open the file, trying again while another process or thread holds it."""
    while True:
        for file in (path, written_ahead(path)):  # whoever opens a pipe waits for what nobody may write
            if os.path.exists(file) and not os.path.isfile(file):  # noqa: PTH110, PTH113 - a name of any length
                raise MarketError(
                    f"{file} is no file, such as a market is kept in; put the market's file there"
                )
        try:
            return duckdb.connect(str(path), read_only=not write, config=_CONFIG)
        except duckdb.Error as error:
            if not any(sign in str(error) for sign in _BUSY):
                if damaged := _damaged(path, error):
                    raise damaged from None
                if path.is_file() and "not a valid DuckDB" in str(error):
                    raise MarketError(f"{path} is not a market file: it is no DuckDB database") from None
                what = f"{path}: the market file cannot be opened"
                if _first_line(error).endswith(_NO_ROOM):
                    raise _unwritten(what, error) from None
                raise MarketError(f"{what}: {_first_line(error)}") from None
            if time.monotonic() > deadline:
                raise InUseError(
                    f"{path} is in use by another process, which did not finish in time: {_first_line(error)}"
                ) from None
        time.sleep(random.uniform(0.002, 0.02))  # noqa: S311 - spreads out the waiting, no secret


def _take_in(path: Path, opened: Opened) -> None:
    """Have nothing stand ahead of a file, and close it."""
    try:
        with closing(opened):
            run(opened, "CHECKPOINT")
    except duckdb.Error as error:
        raise _unwritten(f"{path}: cannot be made one file", error) from None
    if written_ahead(path).exists():
        raise WriteFailedError(f"{path}: cannot be made one file; {_MAKE_ROOM}")


def written_ahead(path: Path) -> Path:
    """The file of what DuckDB writes ahead of a market file."""
    return path.with_name(path.name + ".wal")


@contextmanager
def _turnstile(path: Path, write: bool, deadline: float) -> Iterator[None]:
    """Hold the folder's lock: a reader only for a moment, a writer until its work is done."""
    if fcntl is None:  # pragma: no cover - Windows
        yield
        return
    try:
        folder = os.open(path.parent, os.O_RDONLY)
    except OSError as error:
        raise MarketError(f"{path}: there is no such folder: {_first_line(error)}") from None
    try:
        while True:
            try:
                fcntl.flock(folder, (fcntl.LOCK_EX if write else fcntl.LOCK_SH) | fcntl.LOCK_NB)
                break
            except OSError:
                if time.monotonic() > deadline:
                    raise InUseError(
                        f"{path} is in use by another process, which did not finish in time"
                    ) from None
                time.sleep(random.uniform(0.001, 0.01))  # noqa: S311 - spreads out the waiting, no secret
        if not write:
            fcntl.flock(folder, fcntl.LOCK_UN)
        yield
    finally:
        os.close(folder)


def _unwritten(what: str, error: duckdb.Error) -> WriteFailedError:
    """What could not be kept and why, with what to do where that is known."""
    why = _first_line(error)
    return WriteFailedError(f"{what}: {why}" + (f"; {_MAKE_ROOM}" if why.endswith(_NO_ROOM) else ""))


def _damaged(path: Path, error: duckdb.Error) -> DamagedError | None:
    """What to say where an error tells of pages that are not as they were written."""
    if not isinstance(error, _DAMAGE) and not any(sign in str(error) for sign in _DAMAGE_SIGNS):
        return None
    return DamagedError(
        f"{path} is damaged: {_first_line(error)[:200]}; bring it back from a backup with `pricing restore`, "
        "or save what can be read with `pricing salvage`"
    )


def _first_line(error: BaseException) -> str:
    return str(error).splitlines()[0] if str(error) else type(error).__name__
