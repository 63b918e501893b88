"""The WebSockets of open pages: how many each visitor may hold, and how fast each of them may speak."""

import asyncio
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from starlette.types import Message, Receive

from pricing.api.gates.rate_limiter import RateLimiter

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
