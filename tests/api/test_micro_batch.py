"""Short lists of cars valued together: whose rows are whose, and what an error or a caller who left does."""

import asyncio
import threading
from collections.abc import Sequence
from typing import Any

import pytest

from pricing.api.car_lists import MOST_TOGETHER, SHORT, MicroBatch


class Work:
    """Notes what was valued in one go, and on which thread."""

    def __init__(self) -> None:
        self.lists: list[tuple[Any, int]] = []
        self.threads: set[str] = set()

    def __call__(self, key: Any, cars: Sequence[Any]) -> list[str]:
        self.lists.append((key, len(cars)))
        self.threads.add(threading.current_thread().name)
        if key == "broken":
            raise ValueError("no such fit")
        return [f"{key} {car}" for car in cars]


def test_lists_of_one_key_go_together_and_each_gets_its_own_rows() -> None:
    work = Work()

    async def ask() -> list[list[str]]:
        together = MicroBatch(work)
        asked = [("a", [1, 2]), ("b", [3]), ("a", [4]), ("b", [])]
        return await asyncio.gather(*(together.value(key, cars) for key, cars in asked))

    assert asyncio.run(ask()) == [["a 1", "a 2"], ["b 3"], ["a 4"], []]
    assert work.lists == [("a", 3), ("b", 1)]


def test_no_list_grows_beyond_bounds() -> None:
    work, many = Work(), 3 * MOST_TOGETHER + 7

    async def ask() -> list[list[str]]:
        together = MicroBatch(work)
        return await asyncio.gather(*(together.value("a", [car]) for car in range(many)))

    assert asyncio.run(ask()) == [[f"a {car}"] for car in range(many)]
    assert [size for _, size in work.lists] == [MOST_TOGETHER] * 3 + [7]


def test_the_loop_never_values() -> None:
    """Short lists on one thread, long ones on another."""
    work = Work()

    async def ask() -> list[list[str]]:
        together = MicroBatch(work)
        asked = (together.value("a", range(count)) for count in (SHORT + 1, 1, SHORT))
        return await asyncio.gather(*asked)

    assert [len(rows) for rows in asyncio.run(ask())] == [SHORT + 1, 1, SHORT]
    assert len(work.threads) == 2 and threading.current_thread().name not in work.threads


def test_lists_that_arrive_while_others_are_valued_go_together() -> None:
    work, begun, held = Work(), threading.Event(), threading.Event()

    def slow(key: Any, cars: Sequence[Any]) -> list[str]:
        begun.set()
        held.wait(60)
        return work(key, cars)

    async def ask() -> None:
        together = MicroBatch(slow)
        first = asyncio.create_task(together.value("a", [0]))
        while not begun.is_set():
            await asyncio.sleep(0.001)
        others = [asyncio.create_task(together.value("a", [car])) for car in range(1, 9)]
        await asyncio.sleep(0)
        held.set()
        assert await asyncio.gather(first, *others) == [[f"a {car}"] for car in range(9)]

    asyncio.run(ask())
    assert work.lists == [("a", 1), ("a", 8)]


@pytest.mark.parametrize("cars", [1, SHORT + 1])
def test_an_error_reaches_those_who_asked_and_no_others(cars: int) -> None:
    async def ask() -> list[Any]:
        together = MicroBatch(Work())
        asked = (together.value(key, range(cars)) for key in ("broken", "a", "broken"))
        return await asyncio.gather(*asked, return_exceptions=True)

    first, second, third = asyncio.run(ask())
    assert isinstance(first, ValueError) and isinstance(third, ValueError)
    assert len(second) == cars


def test_a_caller_who_left_is_not_worked_for() -> None:
    work = Work()

    async def ask() -> list[str]:
        together = MicroBatch(work)
        gone = asyncio.create_task(together.value("a", [1]))
        stays = asyncio.create_task(together.value("a", [2]))
        await asyncio.sleep(0)
        gone.cancel()
        return await stays

    assert asyncio.run(ask()) == ["a 2"]
    assert sum(size for _, size in work.lists) <= 2
