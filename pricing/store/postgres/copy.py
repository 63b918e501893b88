"""The local copy of a market on a server: a DuckDB file that every question is put to, brought up to date
first.

A write is done to the copy in a transaction, what it changed is found and made an entry of the server's, and
only then does the copy keep it: what the server has is what holds. A copy remembers the last entry it has, by
number and token; if the server knows no such entry (it was restored, or is another), the copy is made anew.
"""

import logging
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Final
from uuid import uuid4

import duckdb
import polars as pl

from pricing.errors import MarketError, ServerAwayError
from pricing.store.connection import TIMEOUT_SECONDS, Opened, add_row, file_connection, quoted, run
from pricing.store.copying import COPIED, Copied, market_tables
from pricing.store.place import ADDRESS_FILE, COPIES_VARIABLE, copies_directory
from pricing.store.postgres.altered import Altered, note_altered, refuse_many, without
from pricing.store.postgres.changes import changes, whole
from pricing.store.postgres.server import NO_ENTRY, Entry, Reading, Server
from pricing.store.postgres.transaction_lock import TransactionLock
from pricing.store.row_text import TableLayout, delete, insert, layouts
from pricing.store.schema import create_missing_keys

_LOG: Final = logging.getLogger("pricing.store")

WARN_SECONDS: Final = 60.0
"""How often at most the log says of a server that answers may be old."""

_WARNED: Final[dict[str, float]] = {}

_SEEN: Final[dict[Path, Entry]] = {}
"""The last entry that this process has seen in each copy."""

_SERVERS: Final[dict[Path, Server]] = {}
"""The servers that this process works with, by the local copy of each."""


def local_copy(address: str) -> Path:
    """The local copy of the market that the server at an address keeps, up to date; there is no file while it
    keeps none. Raises ``MarketError`` when the server lets nobody in, ``ServerAwayError`` when it cannot be
    reached and there is no copy yet."""
    server = Server(address)
    path = copies_directory() / server.sessions.name / "market.duckdb"
    reached = _SERVERS.get(path)
    if reached is None or reached.address != address:
        _SERVERS[path] = server
        try:
            server.migrate()
        except ServerAwayError:
            if not path.exists():
                raise
    refresh(path)
    return path


def refresh(path: Path) -> None:
    """Bring a local copy up to date, in a moment when nothing is new; there is no file while the server keeps
    no market. Raises as ``local_copy`` does."""
    server = server_of(path)
    _make_folder(path, server)
    try:
        head = server.head()
        if path.exists() and head == _SEEN.get(path):
            return
        if path.exists() or head != NO_ENTRY:
            _bring_up_to_date(path, server, TIMEOUT_SECONDS)
    except ServerAwayError as error:
        if not path.exists():
            raise
        _warn(server, error)


def password_variables(path: Path) -> dict[str, str]:
    """What a process of our own needs in its environment to reach the server of the local copy that it is
    given: the password, which stands in no file of ours."""
    return server_of(path).sessions.password_variables()


def key_held(path: Path, key: str) -> AbstractContextManager[bool]:
    """Hold the key of a piece of work on all machines; see ``Server.key_held``."""
    return server_of(path).key_held(key)


def shown(path: Path) -> str:
    """The address of the server of a local copy, without its password."""
    return server_of(path).shown


def server_of(path: Path) -> Server:
    """The server of a local copy, as this process reached it or as the file beside the copy says, which is
    believed in the folder of our own copies alone: elsewhere whoever wrote it would be sent our password."""
    if path not in _SERVERS:
        if path.parent.parent.resolve() != copies_directory().resolve():
            raise MarketError(
                f"{path.parent / ADDRESS_FILE} names a server, and is not believed, as this is no folder of "
                f"local copies: name the server itself, or the folder above with {COPIES_VARIABLE}"
            )
        _SERVERS[path] = Server((path.parent / ADDRESS_FILE).read_text(encoding="utf-8").strip())
    return _SERVERS[path]


@contextmanager
def copy_connection(path: Path, *, write: bool, keep: bool, timeout: float) -> Iterator[Opened]:
    """A connection to a local copy, up to date, for one piece of work; see ``store.connection.connection``.

    While the server cannot be reached, reading goes on from the copy as it is, with a warning in the log, and
    a write is refused.
    """
    server = server_of(path)
    _make_folder(path, server)
    if write and keep:
        with _written(path, server, timeout) as opened:
            yield opened
        return
    if path.exists() and not write:
        with file_connection(path, timeout=timeout) as opened:
            if _position(opened) == _head(server):
                yield opened
                return
    behind: ServerAwayError | None = None
    try:
        _bring_up_to_date(path, server, timeout)
    except ServerAwayError as error:
        if not path.exists():
            raise
        behind = error
    with file_connection(path, write=write, keep=keep, timeout=timeout) as opened:
        if behind is not None:
            if _position(opened) == NO_ENTRY:
                raise behind
            _warn(server, behind)
        yield opened


def establish(
    path: Path, market: Opened, *, timeout: float = TIMEOUT_SECONDS, copied: Copied | None = None
) -> bool:
    """Make the market of an open file the one that the server of a local copy keeps; false, and nothing done,
    when it keeps one already. The local copy is up to date afterwards."""
    server = server_of(path)
    server.migrate(create=True)
    with TransactionLock(server, timeout) as lock:
        first = lock.head() == NO_ENTRY
        if first:
            lock.publish(NO_ENTRY, uuid4().hex, whole(market), copied)
    _bring_up_to_date(path, server, timeout)
    return first


def _make_folder(path: Path, server: Server) -> None:
    """The folder of a copy, which says what it is a copy of."""
    if (path.parent / ADDRESS_FILE).exists():
        return
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        (path.parent / ADDRESS_FILE).write_text(server.sessions.public_address, encoding="utf-8")
    except OSError as error:
        raise MarketError(f"{path.parent}: a local copy cannot be kept there: {error.strerror}") from None


@contextmanager
def _written(path: Path, server: Server, timeout: float) -> Iterator[Opened]:
    """A write: done to the copy, published, and then kept in the copy."""
    with TransactionLock(server, timeout) as lock:
        published = False
        try:
            with file_connection(path, write=True, timeout=timeout) as opened:
                base, _ = _catch_up(opened, path, server)
                run(opened, "COMMIT")
                run(opened, "BEGIN TRANSACTION")
                yield opened
                made = changes(opened)
                if made:
                    entry = lock.publish(base, uuid4().hex, made)
                    published = True
                    _remember(opened, entry)
        except MarketError as error:
            if not published:
                raise
            _warn(server, error)  # the server has it: the copy gets it with the next question


def _bring_up_to_date(path: Path, server: Server, timeout: float) -> None:
    """Apply the server's entries that the copy has not; makes the copy when there is none."""
    server.head()  # no file comes into being for a server that is away
    with file_connection(path, write=True, timeout=timeout) as opened:
        entry, other = _catch_up(opened, path, server)
    _SEEN[path] = entry
    if other:
        try:
            _SEEN[path] = _set_aside(path, server, timeout)
        except MarketError as error:
            _warn(server, error)


def _set_aside(path: Path, server: Server, timeout: float) -> Entry:
    """Take rows that were changed on the server by other means than a program of ours out of the market, for
    every copy alike: named in the audit, those of records in quarantine too; the server keeps what they were.
    """
    with TransactionLock(server, timeout) as lock:
        with file_connection(path, write=True, timeout=timeout) as opened:
            for table in market_tables(opened):  # made anew, so that every row is looked at
                run(opened, f"DROP TABLE {quoted(table)}")
            run(opened, f"DELETE FROM {COPIED}")  # noqa: S608
            entry, other = _catch_up(opened, path, server)
            run(opened, "COMMIT")
            run(opened, "BEGIN TRANSACTION")
            if not other:
                return entry
            note_altered(opened, other)
            entry = lock.publish(entry, uuid4().hex, without(changes(opened), other))
            _remember(opened, entry)
    return entry


def _catch_up(opened: Opened, path: Path, server: Server) -> tuple[Entry, Altered]:
    """Apply what a copy has not, in the transaction at hand; returns the last entry, which it now has, and
    the rows that do not match their digest, which it has not."""
    if server.head() == NO_ENTRY:
        raise MarketError(
            f"{server.shown} keeps no market, and {path} is the copy of one that it kept: move that file "
            "elsewhere and bring it back by `pricing copy`, or delete it"
        )
    with server.reading() as reading:
        if COPIED not in layouts(opened):  # the file came into being a moment ago
            run(opened, f"CREATE TABLE {COPIED} (number BIGINT PRIMARY KEY, token VARCHAR NOT NULL)")
        here, head = _position(opened), reading.head()
        if here == head:
            return head, {}
        if not reading.holds(here):
            _LOG.warning("%s does not know entry %s; the local copy is made anew", server.shown, here[0])
            for table in market_tables(opened):
                run(opened, f"DROP TABLE {quoted(table)}")
            here = NO_ENTRY
        other = _apply(opened, reading, here[0])
        refuse_many(opened, other, server.shown)
        _remember(opened, head)
        return head, other


def _apply(opened: Opened, reading: Reading, after: int) -> Altered:
    """Bring every table up to date; gives the rows that do not match their digest."""
    other: Altered = {}
    statements = reading.statements(after)
    here = layouts(opened)
    same = {name for name, text in statements.items() if name in here and here[name].statement == text}
    wanted = here | _layouts_of({name: text for name, text in statements.items() if name not in same})
    for table, statement in statements.items():
        layout, start = wanted[table], after
        begun = start > 0 and table in same
        if not (begun and all(delete(opened, layout, texts) for texts in reading.deleted(layout, start))):
            run(opened, f"DROP TABLE IF EXISTS {quoted(table)}")
            run(opened, statement)
            start = 0
        altered = [insert(opened, layout, texts) for texts in reading.inserted(layout, start)]
        if any(not rows.is_empty() for rows in altered):
            other[table] = (layout, pl.concat(altered))
    create_missing_keys(opened, statements)
    return other


def _layouts_of(statements: dict[str, str]) -> dict[str, TableLayout]:
    """The tables that statements of the server's make; each is held to make its own table and do no more."""
    if not statements:
        return {}
    with duckdb.connect(config={"enable_external_access": "false"}) as trial:
        for table, statement in statements.items():
            before = set(layouts(trial))
            parsed = trial.extract_statements(statement)
            if len(parsed) == 1 and parsed[0].type == duckdb.StatementType.CREATE:
                run(trial, statement)
            if set(layouts(trial)) != before | {table}:
                raise MarketError(f"the server's statement for table {table} does not make it")
        return layouts(trial)


def _head(server: Server) -> Entry | None:
    """The server's newest entry; none while it cannot be reached."""
    try:
        return server.head()
    except ServerAwayError:
        return None


def _position(opened: Opened) -> Entry:
    """The last entry that a copy has."""
    begun = COPIED in layouts(opened)
    rows = run(opened, f"SELECT number, token FROM {COPIED}") if begun else []  # noqa: S608
    return (int(rows[0][0]), str(rows[0][1])) if rows else NO_ENTRY


def _remember(opened: Opened, entry: Entry) -> None:
    run(opened, f"DELETE FROM {COPIED}")  # noqa: S608
    add_row(opened, COPIED, number=entry[0], token=entry[1])


def _warn(server: Server, error: MarketError) -> None:
    """Say that answers may be old, but not with every question."""
    if time.monotonic() - _WARNED.get(server.shown, -WARN_SECONDS) >= WARN_SECONDS:
        _WARNED[server.shown] = time.monotonic()
        _LOG.warning("%s; answers are from the local copy as it is", error)
