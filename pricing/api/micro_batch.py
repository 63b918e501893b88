"""Short lists of cars that arrive while others are being valued, valued together as one list."""

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Final

MOST_TOGETHER: Final = 256
"""Cars of one such list: more would make the first of them wait, and the server's loop with it."""

SHORT: Final = 32
"""Cars up to which a list is short."""

GATHERING: Final = 0.004
"""Seconds between two lists, in which the loop takes in what has arrived. With half of it, 150 callers a
second make lists of one car each, which keep the loop so busy that one answer in a hundred takes a third
longer."""

Work = Callable[[Any, Any], list[str]]
"""Values cars under one key (fit, date, coverage), a row a car, in their order: a sequence of them, or a long
list as it was asked for."""


@dataclass(frozen=True, eq=False)
class _Asked:
    key: Any
    cars: Sequence[Any]
    answer: "asyncio.Future[list[str]]"


class MicroBatch:
    """Values lists of cars. A list costs little more than a car, so short lists of one key go together.

    They are valued on the server's own loop: that takes less long than to hand them to a thread, which would
    share the interpreter with the loop and keep both waiting. Long lists are valued on a thread, in turn.
    """

    def __init__(self, work: Work) -> None:
        self._work = work
        self._waiting: list[_Asked] = []
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="values")

    async def value(self, key: Any, cars: Any) -> list[str]:
        """The rows for these cars; raises what ``work`` raises."""
        loop = asyncio.get_running_loop()
        if len(cars) > SHORT:
            return await loop.run_in_executor(self._thread, self._work, key, cars)
        asked = _Asked(key, cars, loop.create_future())
        self._waiting.append(asked)
        if len(self._waiting) == 1:
            loop.call_later(GATHERING, self._value_some, loop)
        return await asked.answer

    def _value_some(self, loop: asyncio.AbstractEventLoop) -> None:
        taken = self._take()
        if not taken:
            return
        try:
            rows = self._work(taken[0].key, [car for asked in taken for car in asked.cars])
        except Exception as error:  # noqa: BLE001 (it is raised where the cars were asked for)
            for asked in taken:
                asked.answer.set_exception(error)
        else:
            start = 0
            for asked in taken:
                asked.answer.set_result(rows[start : start + len(asked.cars)])
                start += len(asked.cars)
        if self._waiting:
            loop.call_later(GATHERING, self._value_some, loop)

    def _take(self) -> list[_Asked]:
        """The list that has waited longest, and others of its key."""
        waiting = [asked for asked in self._waiting if not asked.answer.done()]
        taken: list[_Asked] = []
        size = 0
        for asked in waiting:
            if not taken or (asked.key == taken[0].key and size + len(asked.cars) <= MOST_TOGETHER):
                taken.append(asked)
                size += len(asked.cars)
        self._waiting = [asked for asked in waiting if asked not in taken]
        return taken
