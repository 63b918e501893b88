"""Short lists of cars that arrive while others are being valued, valued together as one list."""

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

MOST_TOGETHER: Final = 256
"""Cars of one such list: more would make the first of them wait."""

SHORT: Final = 32
"""Cars up to which a list is short."""

Work = Callable[[Any, Any], list[str]]
"""Values cars under one key (fit, date, coverage), a row a car, in their order: a sequence of them, or a long
list as it was asked for."""


@dataclass(frozen=True, eq=False)
class _Asked:
    key: Any
    cars: Sequence[Any]
    answer: "asyncio.Future[list[str]]"


class MicroBatch:
    """Values lists of cars. A list costs little more than a car, so short lists of one key that arrive while
    others are being valued go together.

    They are valued on one thread, long lists on another, each in turn: the server's loop takes in and answers
    meanwhile, and never works itself.
    """

    def __init__(self, work: Work) -> None:
        self._work = work
        self._waiting: list[_Asked] = []
        self._at_work = False
        self._short = ThreadPoolExecutor(1, thread_name_prefix="values")
        self._long = ThreadPoolExecutor(1, thread_name_prefix="lists")

    async def value(self, key: Any, cars: Any) -> list[str]:
        """The rows for these cars; raises what ``work`` raises."""
        loop = asyncio.get_running_loop()
        if len(cars) > SHORT:
            return await loop.run_in_executor(self._long, self._work, key, cars)
        asked = _Asked(key, cars, loop.create_future())
        self._waiting.append(asked)
        if not self._at_work:
            self._at_work = True
            loop.call_soon(self._value_some, loop)
        return await asked.answer

    def _value_some(self, loop: asyncio.AbstractEventLoop) -> None:
        """Hand the next list to the thread, if any is waited for."""
        taken = self._take()
        self._at_work = bool(taken)
        if not taken:
            return
        cars = [car for asked in taken for car in asked.cars]
        done = loop.run_in_executor(self._short, self._work, taken[0].key, cars)
        done.add_done_callback(partial(self._answer, loop, taken))

    def _answer(
        self, loop: asyncio.AbstractEventLoop, taken: list[_Asked], done: "asyncio.Future[list[str]]"
    ) -> None:
        """Tell those who asked and wait still, and go on."""
        error = done.exception()
        start = 0
        for asked in taken:
            end = start + len(asked.cars)
            if asked.answer.done():
                pass
            elif error is not None:
                asked.answer.set_exception(error)
            else:
                asked.answer.set_result(done.result()[start:end])
            start = end
        self._value_some(loop)

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
