"""How much each visitor takes of the server: bytes of files given to pages, which live in memory for as long
as the page that they were given to; pages held open by their WebSockets, and how fast each of them speaks."""

import asyncio
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from starlette.types import Message, Receive
from streamlit import runtime

from pricing.api.middleware.rate_limiter import RateLimiter

UPLOADS: Final = "/_stcore/upload_file/"
"""Where pages bring files, with the page's session and the file's name after it."""

LINGERS: Final = 150.0
"""Seconds after which the files of a page that nobody has open any more are gone; Streamlit's are 120."""

MOST_OF_ONE: Final = 40
"""Pages that one person, or one address of whom nobody is known, may have open."""

MOST_UNKNOWN: Final = 200
"""Pages that all of whom nobody is known may have open together: each is a session of its own."""

MESSAGES_A_SECOND: Final = 20.0
MESSAGES_AT_ONCE: Final = 400
"""A page says something at each change of a field; a line that says more is ended, with what of it was not
read yet. A page begins another line by itself."""

TOO_MUCH: Final = 1008
TOO_LONG: Final = 1009

LONGEST_UNKNOWN: Final = 100_000
"""Bytes of a message on a page that nobody has signed in to."""

SHARE: Final = 50_000
"""Bytes of a message that count as one message more: a page's own have a few thousand."""


def is_open(session: str) -> bool:
    """Whether somebody has the page of a session open."""
    return runtime.exists() and runtime.get_instance().is_active_session(session)


class UploadTotals:
    """Bytes that each person keeps, by page and file, ``session/name``.

    >>> totals = UploadTotals(100, lambda session: True)
    >>> totals.begin("ann", 60), totals.begin("ann", 60), totals.begin("ben", 60)
    (True, False, True)
    >>> totals.end("ann", "page/one", 60, stored=True)
    >>> totals.begin("ann", 60), totals.removed("page/one"), totals.begin("ann", 60)
    (False, None, True)
    """

    def __init__(
        self,
        most: int,
        opened: Callable[[str], bool] = is_open,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """``most``: bytes for one person; ``opened``: whether a session's page is open."""
        self._most = most
        self._opened = opened
        self._clock = clock
        self._arriving: Counter[str] = Counter()
        self._files: defaultdict[str, dict[str, int]] = defaultdict(dict)
        self._left: dict[str, float] = {}

    def begin(self, person: str, size: int) -> bool:
        """Set room aside for a file that is to arrive; whether there is any."""
        for session in {file.partition("/")[0] for file in self._files[person]}:
            if self._has_gone(session):
                files = self._files[person].items()
                self._files[person] = {
                    file: held for file, held in files if file.partition("/")[0] != session
                }
        if self._arriving[person] + sum(self._files[person].values()) + size > self._most:
            return False
        self._arriving[person] += size
        return True

    def end(self, person: str, file: str, size: int, *, stored: bool) -> None:
        """What there was room set aside for has arrived, and is kept or not."""
        self._arriving[person] -= size
        if stored:
            self._files[person][file] = size

    def removed(self, file: str) -> None:
        """The file was taken away."""
        for files in self._files.values():
            files.pop(file, None)

    def _has_gone(self, session: str) -> bool:
        if self._opened(session):
            self._left.pop(session, None)
            return False
        gone = self._clock() - self._left.setdefault(session, self._clock()) > LINGERS
        if gone:
            del self._left[session]
        return gone


class OpenLines:
    """The lines that are open.

    >>> lines = OpenLines()
    >>> with lines.held("ann", known=True) as first:
    ...     first
    True
    """

    def __init__(self) -> None:
        self._held: Counter[str] = Counter()
        self._unknown = 0

    @contextmanager
    def held(self, who: str, *, known: bool) -> Iterator[bool]:
        """Count a line while it is open; whether there is room for it."""
        free = self._held[who] < MOST_OF_ONE and (known or self._unknown < MOST_UNKNOWN)
        if not free:
            yield False
            return
        self._held[who] += 1
        self._unknown += not known
        try:
            yield True
        finally:
            self._unknown -= not known
            self._held[who] -= 1
            self._held += Counter()  # without those who hold none


class Paced:
    """What a line says, for as long as it speaks no faster than a page does; one of whom nobody is known ends
    at a message that is longer than any that asks to sign in."""

    def __init__(self, receive: Receive, *, known: bool) -> None:
        self._receive = receive
        self._known = known
        self._rates = RateLimiter(MESSAGES_A_SECOND, MESSAGES_AT_ONCE)
        self.ended: int | None = None
        """The code that the line was ended with (RFC 6455, section 7.4.1)."""

    async def next(self) -> Message:
        """The next message; once it has ended, that it has."""
        await asyncio.sleep(0)  # what has arrived comes without a wait, and all else would wait for all of it
        message = await self._receive()
        size = len(message.get("bytes") or message.get("text") or "")
        if size > LONGEST_UNKNOWN and not self._known:
            self.ended = TOO_LONG
        elif any(self._rates.wait("") > 0 for _ in range(1 + size // SHARE)):
            self.ended = TOO_MUCH
        return message if self.ended is None else {"type": "websocket.disconnect", "code": self.ended}
