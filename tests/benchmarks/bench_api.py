"""How many cars a server process values over HTTP, one by one and in lists, and how long an answer takes.

Loopback, one server process on one core, callers on another; bounded in time, stops by itself:
``pytest -n 0 -s -m benchmark tests/benchmarks/bench_api.py``.
"""

import json
import os
import resource
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pricing.store.market import Market
from tests.small_market import common_car

SECONDS = float(os.environ.get("BENCH_SECONDS", "15"))
"""Of each measurement."""

CALLERS = 32
"""At once, each waiting for its answer before it asks again."""

SINGLY = 300.0
"""Cars a second that are wanted one by one."""

LISTED = 50_000
"""Cars in a list, wanted in a second."""


@contextmanager
def server(market: Path) -> Iterator[tuple[int, int]]:
    """A server process held to one core; gives its port and process id."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"), "1")
    command: list[str | Path] = [
        Path(sys.executable).with_name("pricing"), "serve", "--market", market, "--port", str(port),
        "--no-dashboard", "--trust-this-machine",
    ]  # fmt: skip
    environment = {**os.environ, **one_thread, "PRICING_LOG_LEVEL": "warning"}
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        try:
            cores = sorted(os.sched_getaffinity(0))
            os.sched_setaffinity(process.pid, cores[:1])
            os.sched_setaffinity(0, cores[1:] or cores)
            wait(port)
            yield port, process.pid
        finally:
            os.sched_setaffinity(0, cores)
            process.terminate()


def wait(port: int) -> None:
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline:
        with closing(HTTPConnection("127.0.0.1", port, timeout=60)) as line:
            try:
                line.request("GET", "/ready")
                if line.getresponse().read() and line.sock is not None:
                    return
            except OSError:
                time.sleep(0.1)
    raise TimeoutError("the server did not become ready")


def ask(line: HTTPConnection, body: bytes) -> bytes:
    line.request("POST", "/api/v1/values", body, {"Content-Type": "application/json"})
    answer = line.getresponse()
    content = answer.read()
    assert answer.status == 200, content[:300]
    return content


def bodies(market: Market, count: int) -> list[bytes]:
    """Questions about one car each, no two alike."""
    car = common_car(market)
    return [
        json.dumps({"cars": [{**car, "odometer_km": 20_000 + 13 * place, "asking": 3_000 + place}]}).encode()
        for place in range(count)
    ]


def measured(port: int, questions: list[bytes], callers: int, a_second: float | None) -> np.ndarray:
    """Seconds of every answer within ``SECONDS``; at a rate, from when the question was due."""
    found: list[list[float]] = [[] for _ in range(callers)]
    start = time.perf_counter()

    def call(caller: int) -> None:
        place = caller
        with closing(HTTPConnection("127.0.0.1", port, timeout=60)) as line:
            while True:
                due = time.perf_counter() if a_second is None else start + place / a_second
                if due - start > SECONDS:
                    return
                time.sleep(max(0.0, due - time.perf_counter()))
                ask(line, questions[place % len(questions)])
                found[caller].append(time.perf_counter() - due)
                place += callers

    threads = [threading.Thread(target=call, args=(caller,)) for caller in range(callers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return np.array([seconds for part in found for seconds in part])


def processor_seconds(pid: int) -> float:
    """Processor time of a process so far (proc(5), fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory(pid: int) -> float:
    """Resident megabytes."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def told(name: str, *figures: Any) -> None:
    print(f"{name:34}" + "".join(f"{figure:>16}" for figure in figures))


@pytest.mark.benchmark
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_cars_a_second_over_http(small_market: Market) -> None:
    questions = bodies(small_market, 2_000)
    car = json.loads(questions[0])["cars"][0]
    del car["asking"]
    long = json.dumps({"cars": [{**car, "odometer_km": 20_000 + place} for place in range(LISTED)]}).encode()
    print()
    told("", "cars/s", "cars/core s", "p50 ms", "p99 ms", "MB")
    with server(small_market.path) as (port, pid):
        measured(port, questions[:200], 8, None)
        for name, callers, a_second in (
            (f"one by one, {CALLERS} callers", CALLERS, None),
            (f"one by one, at {SINGLY / 2:.0f} a second", CALLERS, SINGLY / 2),
        ):
            used, start = processor_seconds(pid), time.perf_counter()
            seconds = measured(port, questions, callers, a_second)
            spent, took = processor_seconds(pid) - used, time.perf_counter() - start
            p50, p99 = 1000 * np.quantile(seconds, [0.5, 0.99])
            told(
                name, f"{len(seconds) / took:,.0f}", f"{len(seconds) / spent:,.0f}", f"{p50:.1f}",
                f"{p99:.1f}", f"{memory(pid):.0f}",
            )  # fmt: skip
        with closing(HTTPConnection("127.0.0.1", port, timeout=120)) as line:
            ask(line, long)
            for turn in range(3):
                used, start = processor_seconds(pid), time.perf_counter()
                assert ask(line, long).count(b'"mid"') == LISTED
                spent, took = processor_seconds(pid) - used, time.perf_counter() - start
                told(
                    f"a list of {LISTED:,}, turn {turn + 1}", f"{LISTED / took:,.0f}",
                    f"{LISTED / spent:,.0f}", "", f"{1000 * took:.0f}", f"{memory(pid):.0f}",
                )  # fmt: skip
