"""Whether a server's memory stays flat while it values a hundred cars a second for ten minutes.

Loopback, one server process; prints the resident memory at every minute and fails when it still grows after
the first fifth of the time, in which caches fill:
``pytest -n 0 -s -m soak tests/benchmarks/bench_memory.py`` (``BENCH_SECONDS=120`` for less).
"""

import os
import threading
import time
from contextlib import closing
from http.client import HTTPConnection

import numpy as np
import pytest

from pricing.store.market import Market
from tests.benchmarks.bench_api import ask, bodies, memory, server, told

SECONDS = float(os.environ.get("BENCH_SECONDS", "600"))
A_SECOND = 100.0
"""Cars, one in each request."""

CALLERS = 16
LOOKS = 60
"""At the memory, spread over the time."""

WARM = 0.2
"""Part of the time in which memory may grow."""

MOST_GROWTH = 0.02
"""That the memory may grow by from then to the end, as a part of itself, by the straight line through all
looks: room for what an allocator holds back. In ten minutes of a process of half a gigabyte a leak of some
200 bytes for each car valued comes to as much."""


def call(port: int, questions: list[bytes], caller: int, start: float, answered: list[int]) -> None:
    """Ask one caller's share of the questions, each when it is due."""
    place = caller
    with closing(HTTPConnection("127.0.0.1", port, timeout=120)) as line:
        while True:
            due = start + place / A_SECOND
            if due - start > SECONDS:
                return
            time.sleep(max(0.0, due - time.perf_counter()))
            ask(line, questions[place % len(questions)])
            answered[caller] += 1
            place += CALLERS


@pytest.mark.soak
def test_memory_stays_flat(small_market: Market) -> None:
    questions = bodies(small_market, 5_000)
    print()
    told("after", "cars valued", "MB")
    with server(small_market.path) as (port, pid):
        start, answered = time.perf_counter(), [0] * CALLERS
        threads = [
            threading.Thread(target=call, args=(port, questions, caller, start, answered))
            for caller in range(CALLERS)
        ]
        for thread in threads:
            thread.start()
        looks: list[tuple[float, float]] = []
        minute = 0.0
        for look in range(LOOKS):
            time.sleep(max(0.0, start + (look + 1) * SECONDS / LOOKS - time.perf_counter()))
            after = time.perf_counter() - start
            looks.append((after, memory(pid)))
            if after >= minute:
                told(f"{after:.0f} s", f"{sum(answered):,}", f"{looks[-1][1]:.1f}")
                minute += 60.0
        valued = sum(answered)
        for thread in threads:
            thread.join()
    times, sizes = np.array([look for look in looks if look[0] >= WARM * SECONDS]).T
    slope, _ = np.polyfit(times, sizes, 1)
    growth = slope * (times[-1] - times[0]) / sizes[0]
    told(f"from {times[0]:.0f} s on", f"{100 * growth:+.2f} %", f"{sizes[0]:.1f} to {sizes[-1]:.1f}")
    assert valued >= 0.9 * A_SECOND * SECONDS, f"the rate was not held: {valued / SECONDS:.0f} cars a second"
    assert growth < MOST_GROWTH, f"memory grew by {growth:.1%}"
