"""Writing to the server: one program at a time, each entry whole or not at all."""

import random
import time
from collections.abc import Sequence
from contextlib import suppress
from types import TracebackType
from typing import Final

import psycopg

from pricing.errors import MarketError, ServerAwayError
from pricing.store.connection import quoted
from pricing.store.copying import Copied
from pricing.store.postgres.changes import TableChange
from pricing.store.postgres.server import ADVISORY_LOCK, Entry, Reading, Server, server_table
from pricing.store.postgres.sessions import Session, reason
from pricing.store.row_text import copy_text

AWAY_SECONDS: Final = 20.0
"""How long a write waits for a server that is away, such as one that is started anew."""

RETAKE_SECONDS: Final = 3.0
"""How long a writer that lost the lock waits to have it back: whoever has it now may be waiting for the local
copy that this one holds, and has come in between in any case."""

IDLE_SECONDS: Final = 900
"""After which the server takes the lock from a program that does nothing with it."""


class TransactionLock:
    """The lock by which one program at a time writes, for a ``with`` block; others wait for it.

    Should the server be lost meanwhile, the lock is sought again, and what is to be published holds good if
    nobody has written in between: the number of an entry is taken only once.
    """

    def __init__(self, server: Server, timeout: float) -> None:
        """``timeout``: seconds to wait for other writers, and for a server lost after the work was done."""
        self._server = server
        self._timeout = timeout
        self._session: Session | None = None
        self._had = False

    def __enter__(self) -> "TransactionLock":
        """Wait for the lock. Raises ``ServerAwayError`` when the server stays away."""
        deadline = time.monotonic() + min(self._timeout, AWAY_SECONDS)
        while True:
            try:
                self._held()
                return self
            except ServerAwayError as error:
                _pause(error, deadline)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let the next one write; what was not published is forgotten."""
        session, self._session = self._session, None
        if session is not None:
            with suppress(psycopg.Error):
                session.rollback()
                session.autocommit = True
            self._server.sessions.put_back(session)

    def head(self) -> Entry:
        """The newest entry, which stays so while the lock is held."""
        session = self._held()
        try:
            return Reading(session).head()
        except psycopg.Error as error:
            raise self._give_up(error) from None

    def publish(
        self, after: Entry, token: str, changes: Sequence[TableChange], copied: Copied | None = None
    ) -> Entry:
        """Make an entry out of changes to the market as it was after entry ``after``; returns it.

        Once this is back the entry is kept. Raises ``MarketError`` when another writer came in between.
        """
        entry = (after[0] + 1, token)
        deadline = time.monotonic() + self._timeout
        while True:
            try:
                session = self._held()
                query = "SELECT token FROM pricing.entries WHERE number = %s"
                published = session.execute(query, [entry[0]]).fetchone()
                if published is None:
                    self._store(session, entry, changes, copied)
                elif published[0] != token:
                    raise MarketError(
                        f"{self._server.shown} was lost for a moment and another program wrote meanwhile; "
                        "nothing was changed: do it again"
                    )
                session.commit()
                self._session = None
                session.autocommit = True
                self._server.sessions.put_back(session)
                return entry
            except (ServerAwayError, psycopg.Error) as error:
                wrong = self._give_up(error) if isinstance(error, psycopg.Error) else error
                if not isinstance(wrong, ServerAwayError):
                    raise wrong from None
                _pause(wrong, deadline)

    def _held(self) -> Session:
        """The session that holds the lock, a new one when there is none."""
        if self._session is not None:
            return self._session
        session = self._session = self._server.sessions.take()
        try:
            session.autocommit = False
            timeout = min(self._timeout, RETAKE_SECONDS) if self._had else self._timeout
            idle = f"SET LOCAL idle_in_transaction_session_timeout = {IDLE_SECONDS * 1000:d}"
            session.execute(f"SET LOCAL lock_timeout = {max(1, int(1000 * timeout)):d}; {idle}".encode())
            session.execute("SELECT pg_advisory_xact_lock(%s)", [ADVISORY_LOCK])
            session.execute("SET LOCAL lock_timeout = 0")
        except psycopg.errors.LockNotAvailable:
            self._session = None
            session.close()
            why = "is in use by another program, which did not finish in time"
            if self._had:
                why = "was lost for a moment and another program writes meanwhile; do it again"
            raise MarketError(f"{self._server.shown} {why}") from None
        except psycopg.Error as error:
            raise self._give_up(error) from None
        self._had = True
        return session

    def _give_up(self, error: psycopg.Error) -> MarketError:
        """End the session that something went wrong with; returns what to say."""
        session, self._session = self._session, None
        if session is None:
            return ServerAwayError(f"{self._server.shown} was lost: {reason(error)}")
        wrong = self._server.sessions.sentence(error, session)
        session.close()
        return wrong

    def _store(
        self, session: Session, entry: Entry, changes: Sequence[TableChange], copied: Copied | None
    ) -> None:
        number, token = entry
        for change in changes:
            _prepare(session, change)
            _end(session, change, number)
            columns = (*(name for name, _ in change.layout.columns), *_OWN_COLUMNS[:2])
            names = ", ".join(map(quoted, columns))
            statement = f"COPY {server_table(change.layout.table)} ({names}) FROM STDIN"
            with session.cursor() as cursor, cursor.copy(statement.encode()) as copy:
                for lines in change.inserted():
                    copy.write(copy_text(lines, number))
                    if copied is not None:
                        copied(lines.height)
        session.execute(
            "INSERT INTO pricing.entries (number, token, tables) VALUES (%s, %s, %s)",
            [number, token, [change.layout.table for change in changes]],
        )


def _pause(error: ServerAwayError, deadline: float) -> None:
    if time.monotonic() > deadline:
        raise ServerAwayError(f"{error}; nothing was changed that the server does not show once it is back")
    time.sleep(random.uniform(0.05, 0.25))  # noqa: S311 - spreads out the waiting, no secret


_OWN_COLUMNS: Final = ("row_digest", "since_entry", "until_entry")
"""What the server's tables have beside the market's columns."""


def _prepare(session: Session, change: TableChange) -> None:
    """Make the server's table, or add the columns that it lacks."""
    layout = change.layout
    query = "SELECT statement FROM pricing.layouts WHERE name = %s"
    earlier = session.execute(query, [layout.table]).fetchone()
    if earlier == (layout.statement,):
        return
    table = server_table(layout.table)
    columns = [f"{quoted(name)} {kind}" for name, kind in layout.server_columns]
    if earlier is None:
        digest, since, until = _OWN_COLUMNS
        own = f"{digest} uuid NOT NULL, {since} bigint NOT NULL, {until} bigint"
        stands, came, went = (quoted(f"{layout.table}_{word}") for word in ("stands", "came", "went"))
        statement = (
            f"CREATE TABLE {table} ({', '.join(columns)}, {own}); "
            f"CREATE INDEX {stands} ON {table} ({digest}) WHERE {until} IS NULL; "
            f"CREATE INDEX {came} ON {table} USING brin ({since}); "
            f"CREATE INDEX {went} ON {table} ({until}) WHERE {until} IS NOT NULL"
        )
    else:
        added = ", ".join(f"ADD COLUMN IF NOT EXISTS {column}" for column in columns)
        statement = f"ALTER TABLE {table} {added}"
    session.execute(statement.encode())
    session.execute(
        "INSERT INTO pricing.layouts (name, statement) VALUES (%s, %s) "
        "ON CONFLICT (name) DO UPDATE SET statement = excluded.statement",
        [layout.table, layout.statement],
    )


def _end(session: Session, change: TableChange, number: int) -> None:
    """Mark the rows that went."""
    if change.deleted.is_empty():
        return
    session.execute("CREATE TEMPORARY TABLE gone (row_digest uuid) ON COMMIT DROP")
    with session.cursor() as cursor, cursor.copy("COPY pg_temp.gone FROM STDIN") as copy:
        copy.write("\n".join(change.deleted.to_list()).encode() + b"\n")
    session.execute("ANALYZE pg_temp.gone")
    table = server_table(change.layout.table)
    ended = session.execute(
        f"UPDATE {table} AS kept SET until_entry = {number:d} FROM pg_temp.gone "  # noqa: S608
        "WHERE kept.row_digest = gone.row_digest AND kept.until_entry IS NULL".encode()
    ).rowcount
    if ended < change.deleted.len():
        raise MarketError(
            f"the local copy has rows of {change.layout.table} that the server does not know; delete the "
            "copy and do it again"
        )
    session.execute("DROP TABLE pg_temp.gone")
