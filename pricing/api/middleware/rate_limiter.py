"""How much of a server one caller may have: requests a second, by a leaky bucket as a meter (ITU-T I.371),
and requests at a time."""

import asyncio
import time
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

MOST_CALLERS = 10_000
"""Callers remembered; the one not seen for longest is forgotten, and would begin anew."""


class RateLimiter:
    """Lets each caller through ``a_second`` times a second, and ``burst`` times at once.

    >>> clock = iter([0.0, 0.0, 0.0, 0.1]).__next__
    >>> rates = RateLimiter(10.0, 2, clock)
    >>> [rates.wait("ann") for _ in range(4)]
    [0.0, 0.0, 0.1, 0.0]
    """

    def __init__(self, a_second: float, burst: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._a_second = a_second
        self._burst = burst
        self._clock = clock
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait(self, caller: str) -> float:
        """Nought where the caller may go on, else seconds until it may."""
        at = self._clock()
        left, seen = self._left.pop(caller, (float(self._burst), at))
        left = min(float(self._burst), left + (at - seen) * self._a_second)
        may = left >= 1.0
        self._left[caller] = (left - 1.0 if may else left, at)
        while len(self._left) > MOST_CALLERS:
            self._left.popitem(last=False)
        return 0.0 if may else (1.0 - left) / self._a_second


class ConcurrencyLimiter:
    """Lets ``most`` requests of each caller through at a time, ``most_heavy`` of those that work for long."""

    def __init__(self, most: int, most_heavy: int) -> None:
        self._most = {False: most, True: most_heavy}
        self._callers: dict[tuple[str, bool], tuple[asyncio.Semaphore, int]] = {}

    @asynccontextmanager
    async def of(self, caller: str | None, *, heavy: bool) -> AsyncIterator[None]:
        """Wait for a place among the requests of this caller; without a caller there is no waiting."""
        if caller is None:
            yield
            return
        key = (caller, heavy)
        slots, waiting = self._callers.get(key, (asyncio.Semaphore(self._most[heavy]), 0))
        self._callers[key] = slots, waiting + 1
        try:
            async with slots:
                yield
        finally:
            slots, waiting = self._callers.pop(key)
            if waiting > 1:
                self._callers[key] = slots, waiting - 1
