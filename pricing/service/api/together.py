"""Short lists of cars that arrive while others are being valued, valued together as one list."""

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Final

MOST_TOGETHER: Final = 512
"""Cars of one such list: more would make the first of them wait."""

Work = Callable[[Any, Sequence[Any]], list[str]]
"""Values cars under one key (fit, date, coverage): a row a car, in their order."""


@dataclass(frozen=True, eq=False)
class _Asked:
    key: Any
    cars: Sequence[Any]
    answer: "asyncio.Future[list[str]]"


class Together:
    """Values lists in turn on one thread. What waits for the same key goes together: a list costs little more
    than a car."""

    def __init__(self, work: Work) -> None:
        self._work = work
        self._waiting: list[_Asked] = []
        self._busy = False
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="values")

    async def value(self, key: Any, cars: Sequence[Any]) -> list[str]:
        """The rows for these cars; raises what ``work`` raises."""
        loop = asyncio.get_running_loop()
        asked = _Asked(key, cars, loop.create_future())
        self._waiting.append(asked)
        if not self._busy:
            self._busy = True
            self._next(loop)
        return await asked.answer

    def _next(self, loop: asyncio.AbstractEventLoop) -> None:
        taken = self._take()
        if not taken:
            self._busy = False
            return
        cars = [car for asked in taken for car in asked.cars]
        done = loop.run_in_executor(self._thread, self._work, taken[0].key, cars)
        done.add_done_callback(lambda found: self._answer(loop, taken, found))

    def _take(self) -> list[_Asked]:
        """The list that has waited longest, and others of its key that are short."""
        self._waiting = [asked for asked in self._waiting if not asked.answer.done()]
        taken: list[_Asked] = []
        size = 0
        for asked in self._waiting:
            if not taken or (asked.key == taken[0].key and size + len(asked.cars) <= MOST_TOGETHER):
                taken.append(asked)
                size += len(asked.cars)
        self._waiting = [asked for asked in self._waiting if asked not in taken]
        return taken

    def _answer(
        self, loop: asyncio.AbstractEventLoop, taken: list[_Asked], found: "asyncio.Future[list[str]]"
    ) -> None:
        error = found.exception()
        start = 0
        for asked in taken:
            if not asked.answer.done():
                if error is not None:
                    asked.answer.set_exception(error)
                else:
                    asked.answer.set_result(found.result()[start : start + len(asked.cars)])
            start += len(asked.cars)
        self._next(loop)
