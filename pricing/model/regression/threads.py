"""Work shared out between threads, its results in the order of its parts: the same digits on any machine."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count
from typing import TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")


def shared_out(work: Callable[[Part], Result], parts: Sequence[Part], worth: bool = True) -> Iterator[Result]:
    """``work`` of every part, in order; on one thread where more are not ``worth`` their cost.

    >>> list(shared_out(abs, [-1, 2, -3]))
    [1, 2, 3]
    """
    threads = min(len(parts), cpu_count() or 1)
    if threads <= 1 or not worth:
        yield from map(work, parts)
        return
    with ThreadPoolExecutor(threads) as pool:
        yield from pool.map(work, parts)
