"""Sessions with a PostgreSQL server: its address without the password, and what is wrong in a sentence."""

import atexit
import hashlib
import os
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final
from urllib.parse import quote, urlencode

import psycopg

from pricing.errors import MarketError, ServerAwayError

CONNECT_SECONDS: Final = 5
"""How long a server may take to answer at all."""

_QUIET_SECONDS: Final = 2.0
"""After a server was not reached nobody asks it again for so long, so that reading stays quick meanwhile."""

_SETTINGS: Final = (
    "-c datestyle=ISO -c bytea_output=hex -c extra_float_digits=1 -c search_path=pg_catalog "
    "-c tcp_keepalives_idle=10 -c tcp_keepalives_interval=5 -c tcp_keepalives_count=3"
)
"""Of each session: the forms in which texts come, and how soon the server notices that a program is gone."""

_NOT_AWAY: Final = (
    "password authentication failed", "no password supplied", "does not exist", "no pg_hba.conf entry",
    "permission denied", "authentication failed", "is not permitted to log in",
)  # fmt: skip
"""Why a server that is there lets nobody in."""

Session = psycopg.Connection[Any]


class Sessions:
    """Sessions with one server, each used by one piece of work at a time."""

    def __init__(self, address: str) -> None:
        """``address`` is a URI as libpq reads it. Raises ``MarketError`` for any other text."""
        try:
            self._parts = psycopg.conninfo.conninfo_to_dict(address)
        except psycopg.Error:
            raise MarketError(
                "the address of the server cannot be read; expected postgresql://USER@HOST:PORT/DATABASE"
            ) from None
        if "dbname" not in self._parts:
            raise MarketError("the address names no database; expected postgresql://USER@HOST:PORT/DATABASE")
        public = {name: value for name, value in self._parts.items() if name != "password"}
        self.shown = _shown(public, masked="password" in self._parts)
        self.public_address = _shown(public, masked=False)
        self.name = _file_name(public)
        self._idle: deque[Session] = deque()
        self._process = os.getpid()
        self._away_until = 0.0
        self._away_because = ""
        atexit.register(self.close)

    def password_variables(self) -> dict[str, str]:
        """The password as libpq reads it from the environment, when the address gave one."""
        return {"PGPASSWORD": str(self._parts["password"])} if "password" in self._parts else {}

    def take(self) -> Session:
        """A session, in autocommit; give it back with ``put_back``. Raises ``ServerAwayError`` when the
        server is not to be reached, ``MarketError`` when it refuses."""
        if self._process != os.getpid():  # a child of a fork shares no session with its parent
            self._idle, self._process = deque(), os.getpid()
        while self._idle:
            try:
                session = self._idle.pop()
                session.execute("")
                return session
            except IndexError:  # another thread was quicker
                break
            except psycopg.Error:
                session.close()
        parts = {"connect_timeout": CONNECT_SECONDS, "application_name": "pricing", **self._parts}
        parts["options"] = f"{_SETTINGS} {self._parts.get('options', '')}".strip()
        parts.setdefault("client_encoding", "UTF8")
        try:
            session = psycopg.connect(**parts, autocommit=True)  # type: ignore[arg-type]
        except psycopg.Error as error:
            if any(sign in str(error) for sign in _NOT_AWAY):
                raise MarketError(f"{self.shown} lets nobody in: {reason(error)}") from None
            self._away_because = reason(error)
            self._away_until = time.monotonic() + _QUIET_SECONDS
            raise ServerAwayError(f"{self.shown} cannot be reached: {self._away_because}") from None
        self._away_until = 0.0
        return session

    def put_back(self, session: Session) -> None:
        """Keep a session for the next piece of work, unless it is broken."""
        if session.closed or session.info.transaction_status != psycopg.pq.TransactionStatus.IDLE:
            session.close()
        else:
            self._idle.append(session)

    @contextmanager
    def session(self) -> Iterator[Session]:
        """A session for one piece of reading. Raises as ``take`` does, and for what goes wrong meanwhile."""
        if time.monotonic() < self._away_until:
            raise ServerAwayError(f"{self.shown} cannot be reached: {self._away_because}")
        session = self.take()
        try:
            yield session
        except psycopg.Error as error:
            raise self.sentence(error, session) from None
        finally:
            self.put_back(session)

    def sentence(self, error: psycopg.Error, session: Session) -> MarketError:
        """What went wrong, as an error of ours: the server lost, or something that it refused."""
        if isinstance(error, psycopg.OperationalError) or session.closed:
            return ServerAwayError(f"{self.shown} was lost: {reason(error)}")
        return MarketError(f"{self.shown}: {reason(error)}")

    def close(self) -> None:
        """End the sessions that nobody uses."""
        while self._idle and self._process == os.getpid():
            self._idle.pop().close()


def reason(error: BaseException) -> str:
    """The last line of an error that says something, without what a server puts in front."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    telling = [line for line in lines if "FATAL" in line or "ERROR" in line or "refused" in line] or lines
    return telling[0].split("FATAL:")[-1].strip() if telling else type(error).__name__


def _shown(parts: dict[str, Any], *, masked: bool) -> str:
    """An address as a URI: to be shown, or to be read again, with every part but the password."""
    user = quote(str(parts.get("user", "")), safe="")
    host, port = str(parts.get("host", "")), parts.get("port")
    rest = {name: value for name, value in parts.items() if name not in ("user", "host", "port", "dbname")}
    if "/" in host or "," in host:
        rest["host"], host = host, ""
        if port is not None:
            rest["port"], port = port, None
    place = (f"[{host}]" if ":" in host else quote(host, safe="")) + ("" if port is None else f":{port}")
    front = f"{user}{':***' if masked else ''}@" if user or masked else ""
    tail = f"?{urlencode(sorted(rest.items()), safe='/')}" if rest else ""
    return f"postgresql://{front}{place}/{quote(str(parts.get('dbname', '')), safe='')}{tail}"


def _file_name(parts: dict[str, Any]) -> str:
    """A name for the server's market among others: readable, and another for another address."""
    words = f"{parts.get('host', 'local')}-{parts.get('dbname', 'default')}"
    plain = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in words).strip("-")
    return f"{plain[:60]}-{hashlib.sha256(repr(sorted(parts.items())).encode()).hexdigest()[:12]}"
