"""What a market file survives: a load killed at any point, a full disk, many readers, and a heap of bad
files."""

import multiprocessing
import os
import random
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pricing.errors import MarketError, PricingError
from pricing.records.contract import COLUMNS
from pricing.store.market import Market
from pricing.store.records.first_load import load_into
from tests.store.test_market import ROW, write

TODAY = date(2025, 6, 30)
LOADER = """
import sys
from datetime import date
from pricing.store.market import Market
print("go", flush=True)
Market.open(sys.argv[1]).load([sys.argv[2]], today=date(2025, 6, 30))
"""
ROWS = 20_000


def many(path: Path, rows: int, first: int = 0) -> Path:
    """A file of rows that differ by their amount, one in a hundred broken."""
    amount = pl.int_range(1000 + first, 1000 + first + rows, eager=True)
    frame = pl.DataFrame([ROW]).drop("amount").join(pl.DataFrame({"amount": amount}), how="cross")
    frame.with_columns(year=pl.when(amount % 100 == 0).then(pl.lit("?")).otherwise("year")).write_csv(path)
    return path


def kill_a_load(market: Path, rows: Path, delay: float) -> bool:
    """Start a load and kill it after a delay; whether it was still running."""
    with subprocess.Popen([sys.executable, "-c", LOADER, market, rows], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stdout.readline() == b"go\n"
        time.sleep(delay)
        running = process.poll() is None
        process.send_signal(signal.SIGKILL)
    return running


def survives(folder: Path, points: int) -> int:
    """Kill loads at random points; returns how many were hit while at work."""
    rows = many(folder / "rows.csv", ROWS)
    start = time.perf_counter()
    Market.open(folder / "whole.duckdb").load([rows], today=TODAY)
    seconds = time.perf_counter() - start
    rng, hit = random.Random(7), 0  # noqa: S311 - where to strike, no secret
    for point in range(points):
        path = folder / f"{point}.duckdb"
        Market.open(path)
        hit += kill_a_load(path, rows, rng.uniform(0, 1.2 * seconds))
        market = Market.open(path)
        held = market.sales(every_record=True).height
        assert held in (0, ROWS - ROWS // 100), f"{held} records after kill {point}"
        assert market.quarantine().height == (ROWS // 100 if held else 0)
        assert market.batches().height == (1 if held else 0)
        report = market.load([rows], today=TODAY)
        assert report.read == report.accepted + report.rejected + report.known == ROWS
        assert market.digest() == Market.open(folder / "whole.duckdb").digest()
        path.unlink()
    return hit


def test_a_killed_load_leaves_all_or_nothing(tmp_path: Path) -> None:
    survives(tmp_path, 3)


@pytest.mark.soak
def test_fifty_killed_loads_leave_all_or_nothing(tmp_path: Path) -> None:
    hit = survives(tmp_path, 50)
    print(f"50 loads killed, {hit} of them at work")
    assert hit >= 25


@pytest.mark.skipif(not Path("/dev/full").exists() or os.name != "posix", reason="needs POSIX file limits")
def test_a_full_disk_is_one_line_and_an_unchanged_market(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    market.load([write(tmp_path / "first.csv", {})], today=TODAY)
    before = market.digest()
    rows = many(tmp_path / "rows.csv", 100_000)
    limited = f"""
import resource, signal, sys
from datetime import date
from pricing.errors import MarketError
from pricing.store.market import Market
market = Market.open({str(market.path)!r})
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, ({market.path.stat().st_size} + 200_000, resource.RLIM_INFINITY))
try:
    market.load([{str(rows)!r}], today=date(2025, 6, 30), believe=True)
except MarketError as error:
    sys.exit(str(error))
"""
    done = subprocess.run([sys.executable, "-c", limited], capture_output=True, text=True)
    assert done.returncode == 1, done.stderr
    assert "unchanged" in done.stderr and done.stderr.count("\n") == 1
    assert market.digest() == before
    assert market.load([rows], today=TODAY, believe=True).accepted == 99_000


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX file limits")
def test_a_first_load_for_which_there_is_no_room_makes_no_market(tmp_path: Path) -> None:
    """What was committed stands beside the draft while there is no room to take it in: a draft moved without
    it was an empty file."""
    rows, place = write(tmp_path / "rows.csv", {}), tmp_path / "market.duckdb"
    limited = f"""
import resource, signal, sys
from datetime import date
from pricing.errors import PricingError
from pricing.store.records.first_load import load_into
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, resource.RLIM_INFINITY))
try:
    load_into({str(place)!r}, [{str(rows)!r}], today=date(2025, 6, 30), believe=True)
except PricingError as error:
    sys.exit(str(error))
"""
    done = subprocess.run([sys.executable, "-c", limited], capture_output=True, text=True)
    assert done.returncode == 1 and done.stderr.count("\n") == 1, done.stderr
    assert "make room on the disk" in done.stderr
    assert [file.name for file in tmp_path.iterdir()] == ["rows.csv"]
    assert load_into(place, [rows], today=TODAY, believe=True).accepted == 1


PATIENCE = 240.0
"""Seconds that one process waits for the others at most, so that a failure is told and nothing hangs."""


def read_until(path: str, start: Any, stop: Any, found: Any) -> None:
    """Read a market again and again, once at least; every state must be whole batches of a thousand rows."""
    try:
        market = Market.open(path)
        market.sales()
    except Exception as error:  # noqa: BLE001
        found.put(repr(error))
        start.wait(PATIENCE)
        return
    try:
        start.wait(PATIENCE)
        while True:
            held = market.sales(every_record=True).height
            if held % 990:
                found.put(f"half a batch: {held}")
                return
            if stop.is_set():
                break
    except Exception as error:  # noqa: BLE001
        found.put(repr(error))
        return
    found.put("")


@pytest.mark.parametrize(
    ("readers", "loads"), [pytest.param(2, 3), pytest.param(8, 30, marks=pytest.mark.soak)]
)
def test_readers_of_other_processes_see_whole_batches(tmp_path: Path, readers: int, loads: int) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    context = multiprocessing.get_context("spawn")
    start, stop, found = context.Barrier(readers + 1), context.Event(), context.Queue()
    processes = [
        context.Process(target=read_until, args=(str(market.path), start, stop, found))
        for _ in range(readers)
    ]
    for process in processes:
        process.start()
    start.wait(PATIENCE)
    for load in range(loads):
        report = market.load([many(tmp_path / f"{load}.csv", 1000, 1000 * load)], today=TODAY)
        assert (report.accepted, report.rejected) == (990, 10)
    stop.set()
    outcomes = [found.get(timeout=PATIENCE) for _ in processes]
    for process in processes:
        process.join()
    assert outcomes == [""] * readers


CELL = st.one_of(
    st.none(),
    st.text(st.characters(codec="utf-8"), max_size=8),
    st.sampled_from(["=1+1", "NaN", "1e999", "-0", "2024-02-30", "٣", "a;b", "\x00", "'", '"', "\u202e"]),
    st.sampled_from([*ROW.values(), "hammer", "auction", "unsold", "asking", "overdrive"]),
)


@pytest.mark.soak
@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(CELL, min_size=20, max_size=80), st.integers(0, 2**32))
def test_a_hundred_thousand_made_rows_lose_nothing(
    tmp_path: Path, cells: list[str | None], seed: int
) -> None:
    rng = random.Random(seed)  # noqa: S311 - deals the made cells out to 250 rows, no secret
    rows = [[rng.choice(cells) for _ in COLUMNS] for _ in range(250)]
    path = tmp_path / "market.duckdb"
    path.unlink(missing_ok=True)
    market = Market.open(path)
    frame = pl.DataFrame(rows, schema=dict.fromkeys(COLUMNS, pl.String), orient="row")
    frame.write_parquet(tmp_path / "rows.parquet")
    report = market.load([tmp_path / "rows.parquet"], today=TODAY)
    assert report.read == report.accepted + report.rejected + report.known
    assert report.read == frame.filter(~pl.all_horizontal(pl.all().is_null())).height
    assert (market.sales(every_record=True).height, market.quarantine().height) == (
        report.accepted,
        report.rejected,
    )


def mutated(content: bytes, rng: random.Random) -> bytes:
    """A file with some bytes changed, cut out, doubled, or the end lost."""
    data = bytearray(content)
    for _ in range(rng.randint(1, 12)):
        at = rng.randrange(len(data))
        match rng.randrange(4):
            case 0:
                data[at] = rng.randrange(256)
            case 1:
                del data[at : at + rng.randint(1, 40)]
            case 2:
                data[at:at] = data[at : at + rng.randint(1, 40)]
            case _:
                data[at:at] = rng.choice([b'"', b"\n", b",", b"\0", b"\xff\xfe", b"'", b"=cmd|' /C calc'!A0"])
    return bytes(data[: rng.randint(1, len(data))] if rng.random() < 0.2 else data) or b"x"


def load_mutated(folder: Path, files: int) -> tuple[int, int]:
    """Load mutated files of every kind; returns how many were loaded and how many refused in one line."""
    rows = pl.DataFrame([ROW | {"amount": str(5000 + place), "notes": "a, b"} for place in range(30)])
    rows.write_csv(folder / "a.csv")
    rows.write_parquet(folder / "b.parquet")
    rows.write_excel(folder / "c.xlsx")
    rows.write_ndjson(folder / "d.jsonl")
    car = '{"@type": "Car", "brand": "C", "offers": {"price": 4250, "priceCurrency": "GBP"}}'
    (folder / "e.html").write_text(f'<html><script type="application/ld+json">{car}</script></html>')
    originals = [(path.suffix, path.read_bytes()) for path in sorted(folder.iterdir()) if path.is_file()]
    market = Market.open(folder / "market.duckdb")
    rng, loaded, refused = random.Random(11), 0, 0  # noqa: S311 - what to break, no secret
    for place in range(files):
        suffix, content = originals[place % len(originals)]
        path = folder / f"mutated{suffix}"
        path.write_bytes(mutated(content, rng))
        try:
            report = market.load([path], today=TODAY)
            assert report.read == report.accepted + report.rejected + report.known
            loaded += 1
        except PricingError as error:
            assert "\n" not in str(error)
            refused += 1
    return loaded, refused


def test_mutated_files_are_loaded_or_refused_in_one_line(tmp_path: Path) -> None:
    assert sum(load_mutated(tmp_path, 25)) == 25


@pytest.mark.soak
def test_a_thousand_mutated_files_are_loaded_or_refused_in_one_line(tmp_path: Path) -> None:
    loaded, refused = load_mutated(tmp_path, 1000)
    print(f"1,000 mutated files: {loaded} loaded, {refused} refused in one line")
    assert min(loaded, refused) > 100


def test_a_market_that_is_read_only_says_so(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    rows = write(tmp_path / "notes.csv", {})
    if os.geteuid() == 0:
        market.path.unlink()
        market.path.mkdir()
    else:
        market.path.chmod(0o400)
    with pytest.raises(MarketError) as caught:
        market.load([rows], today=TODAY)
    assert "\n" not in str(caught.value)
