"""Whose turn it is: each caller has so many requests worked on at a time, so that none takes all."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager


class Turns:
    """Lets ``most`` requests of each caller through at a time, ``most_heavy`` of those that work for long."""

    def __init__(self, most: int, most_heavy: int) -> None:
        self._most = {False: most, True: most_heavy}
        self._callers: dict[tuple[str, bool], tuple[asyncio.Semaphore, int]] = {}

    @asynccontextmanager
    async def of(self, caller: str | None, *, heavy: bool) -> AsyncIterator[None]:
        """Wait for a turn of this caller; without a caller there is no waiting."""
        if caller is None:
            yield
            return
        key = (caller, heavy)
        turn, asking = self._callers.get(key, (asyncio.Semaphore(self._most[heavy]), 0))
        self._callers[key] = turn, asking + 1
        try:
            async with turn:
                yield
        finally:
            turn, asking = self._callers.pop(key)
            if asking > 1:
                self._callers[key] = turn, asking - 1
