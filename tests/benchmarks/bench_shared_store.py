"""How long a market on a server takes beside a market file: loading, catching up, asking when nothing is new.

Run: python -m tests.benchmarks.bench_shared_store
"""

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pricing.store.market import Market
from pricing.store.postgres.copy import refresh
from pricing.store.transfer import copy_market
from tests.postgres_server import PostgresServer, private_server
from tests.small_market import write_sales

ROWS = 100_000


def seconds(work: Callable[[], object], times: int = 1) -> float:
    """The median time that some work takes."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def measure(postgres: PostgresServer, folder: Path) -> list[tuple[str, float, float | None]]:
    """What was done, seconds on a server, and seconds on a file."""
    sales = folder / "sales.parquet"
    write_sales(sales, ROWS)
    address = postgres.database()
    os.environ["PRICING_COPIES"] = str(folder / "here")
    here, file = Market.open(address), Market.open(folder / "file.duckdb")
    rows: list[tuple[str, float, float | None]] = [
        (f"load {ROWS:,} rows", seconds(lambda: here.load([sales])), seconds(lambda: file.load([sales])))
    ]
    os.environ["PRICING_COPIES"] = str(folder / "there")
    rows.append((f"a fresh copy of {ROWS:,} rows", seconds(lambda: Market.open(address)), None))
    there = Market.open(address)
    assert there.digest() == here.digest() == file.digest()
    rows.append(("look whether anything is new", seconds(lambda: refresh(there.path), 200), None))
    rows.append(("a small question", seconds(there.batches, 20), seconds(file.batches, 20)))

    def write(market: Market) -> Callable[[], None]:
        return lambda: market.keep_settings({"country": "IE"})

    def write_and_ask() -> None:
        write(here)()
        there.batches()

    rows.append(("a small write", seconds(write(here), 10), seconds(write(file), 10)))

    rows.append(("a small write, seen from another copy", seconds(write_and_ask, 10), None))
    rows.append(
        ("undo the load", seconds(lambda: here.undo("batch-0001")), seconds(lambda: file.undo("batch-0001")))
    )
    rows.append(("that undo, caught up", seconds(lambda: refresh(there.path)), None))
    here.load([sales])
    back = seconds(lambda: copy_market(address, folder / "back.duckdb"))
    rows.append((f"copy {ROWS:,} rows from server to file", back, None))
    second = postgres.database()
    rows.append(
        (
            f"copy {ROWS:,} rows from file to server",
            seconds(lambda: copy_market(folder / "back.duckdb", second)),
            None,
        )
    )
    return rows


@pytest.mark.benchmark
def test_shared_store() -> None:
    """Print the table."""
    main()


def main() -> None:
    """Measure and print."""
    with private_server() as postgres, tempfile.TemporaryDirectory() as folder:
        print(f"{'':42}{'server':>10}{'file':>10}{'ratio':>8}")
        for what, server, file in measure(postgres, Path(folder)):
            beside = "" if file is None else f"{1000 * file:>7.1f} ms{server / file:>8.1f}"
            print(f"{what:42}{1000 * server:>7.1f} ms{beside}")


if __name__ == "__main__":
    main()
