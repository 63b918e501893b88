"""A million rows of CSV checked, priced, linked and stored, beside DuckDB reading the same file into a table.

Both run in processes of their own, so that each one's memory can be seen; imports are left out. Processor
seconds tell more than seconds on a machine that is busy. The command that prints the table: ``python
tests/benchmarks/bench_intake.py`` (rows as an argument, 1,000,000 by default).
"""

import json
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pricing.vocabulary import CHANNELS, CONDITION_BANDS, OPTION_CODES

ROWS = 1_000_000
RATIO = 4.0
"""The load may take this many times what the bare read takes."""

MEMORY = 3.0
"""GB for a million rows."""

LOAD = """
import sys
from pricing.store.market import Market
market = Market.open(sys.argv[2])
def work():
    report = market.load([sys.argv[1]])
    return {name: getattr(report, name) for name in ("read", "accepted", "rejected", "known", "linked")}
"""
READ = """
import sys
import duckdb
def work():
    with duckdb.connect(sys.argv[2]) as opened:
        opened.execute("CREATE TABLE sales AS SELECT * FROM read_csv(?)", [sys.argv[1]]).fetchall()
    return {}
"""
FRAME = """
import json, resource, time
start, busy = time.perf_counter(), time.process_time()
counted = work()
seconds, processor = time.perf_counter() - start, time.process_time() - busy
memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
print(json.dumps({"seconds": seconds, "processor": processor, "memory": memory, **counted}))
"""


def write_rows(path: Path, rows: int, seed: int = 0) -> None:
    """Sale records of an invented market, one in a hundred entered twice and one in a hundred broken."""
    rng = np.random.default_rng(seed)
    part = 500_000
    with path.open("wb") as file:
        for first in range(0, rows, part):
            count = min(part, rows - first)
            frame = _rows(count, first, rng)
            frame.write_csv(file, include_header=first == 0)


def _rows(count: int, first: int, rng: np.random.Generator) -> pl.DataFrame:
    car = first + np.arange(count)
    car[rng.random(count) < 0.01] -= 1
    model = car * 7919 % 2000
    auction = car % 2 == 0
    days = np.datetime64(date(2005, 1, 3)) + (car * 104_729 % 7300).astype("timedelta64[D]")
    amount = np.round(np.exp(9 + model % 50 / 25 + (car * 31 % 97) / 97), 2)
    return pl.DataFrame(
        {
            "source_ref": pl.Series(first + np.arange(count)).cast(pl.String),
            "make": pl.Series(model // 40).cast(pl.String).str.replace("^", "Make "),
            "model": pl.Series(model).cast(pl.String).str.replace("^", "Model "),
            "variant": _pick(["standard", "de luxe", None], car % 3),
            "year": 1950 + model % 40,
            "chassis_number": pl.Series(car).cast(pl.String).str.replace("^", "CH/"),
            "body_style": _pick(["saloon", "roadster", "coupe"], car % 3),
            "drive_side": _pick(["left", "right"], car % 2),
            "condition_band": _pick([*CONDITION_BANDS, None, None], car % 6),
            "odometer_km": 1000.0 + car % 300_000,
            "options": _pick(["", ";".join(OPTION_CODES[:3]), OPTION_CODES[5]], car % 3),
            "history_file": _pick(["yes", "no"], car % 2),
            "channel": _pick(CHANNELS, np.where(auction, 0, 1 + car % 2)),
            "country": _pick(["GB", "DE", "FR", "SE"], car % 4),
            "outcome": "sold",
            "event_date": pl.Series(days),
            "amount": np.where(rng.random(count) < 0.01, -amount, amount),
            "currency": _pick(["GBP", "EUR", "USD", "SEK"], car % 4),
            "price_basis": pl.Series(np.where(auction, "hammer", "all-in")),
            "premium": pl.Series(np.where(auction, np.round(amount * 0.15, 2), np.nan)).fill_nan(None),
            "notes": _pick(["One family from new, bills on file", None], car % 2),
        }
    )


def _pick(words: Sequence[str | None], places: np.ndarray) -> pl.Series:
    """Words by place."""
    return pl.Series(words, dtype=pl.String).gather(places)


def measure(rows: int) -> dict[str, dict[str, float]]:
    """Seconds and gigabytes of both, on one file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sales.csv"
        write_rows(path, rows)
        measured = {}
        for name, work in (("read", READ), ("load", LOAD)):
            command = [sys.executable, "-c", work + FRAME, str(path), f"{folder}/{name}.duckdb"]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            measured[name] = json.loads(done.stdout.splitlines()[-1])
        return measured


def table(rows: int, measured: dict[str, dict[str, float]]) -> str:
    """The measurements as a Markdown table."""
    read, load = measured["read"], measured["load"]
    counts = ", ".join(f"{load[name]:,.0f} {name}" for name in ("accepted", "rejected", "known", "linked"))
    bare = "DuckDB: create table as select * from read_csv"
    lines = [
        f"| {name} | {one['seconds']:.1f} | {one['seconds'] / read['seconds']:.1f} | {one['processor']:.1f} "
        f"| {one['processor'] / read['processor']:.1f} | {one['memory']:.1f} |"
        for name, one in ((bare, read), (f"load: {counts}", load))
    ]
    head = f"| {rows:,} rows of CSV | seconds | times | processor seconds | times | GB |"
    return "\n".join([head, "|---|---|---|---|---|---|", *lines])


@pytest.mark.benchmark
def test_a_million_rows_in_four_times_the_bare_read() -> None:
    measured = measure(ROWS)
    print("\n" + table(ROWS, measured))
    assert measured["load"]["seconds"] <= RATIO * measured["read"]["seconds"]
    assert measured["load"]["memory"] < MEMORY
    assert measured["load"]["read"] == ROWS


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    print(table(wanted, measure(wanted)))
