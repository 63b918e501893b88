"""Many programs on one server at once, while it is stopped, sessions are cut and writers killed: every batch
is whole, nothing acknowledged is lost, and all copies agree at the end."""

import contextlib
import multiprocessing
import os
import time
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import polars as pl
import psycopg
import pytest

from pricing.errors import InUseError, MarketError, ServerAwayError
from pricing.store.market import Market
from tests.postgres_server import PostgresServer
from tests.store.postgres.test_copy import contents
from tests.store.test_market import ROW, TODAY

SECONDS = float(os.environ.get("SOAK_SECONDS", "120"))
"""Of the long soak, a fault each four of them."""

ROWS = 40
PATIENCE = 240.0
"""Seconds that a process is waited for at most, so that a failure is told and nothing hangs."""


def lot(folder: Path, name: str) -> Path:
    """A file of rows that no other lot has."""
    rows = pl.DataFrame([ROW]).drop("amount").join(
        pl.DataFrame({"amount": [str(5000 + place) for place in range(ROWS)]}), how="cross"
    )  # fmt: skip
    path = folder / f"{name}.csv"
    rows.with_columns(source=pl.lit(name)).write_csv(path)
    return path


def write_on(address: str, copies: str, folder: str, name: str, stop: Any) -> None:
    """Load lots of one's own until told to stop; a lot that was acknowledged is noted down."""
    os.environ["PRICING_COPIES"] = copies
    made = len(list(Path(folder).glob(f"{name}-*.csv")))
    with (Path(folder) / f"{name}.acknowledged").open("a", encoding="utf-8") as acknowledged:
        while not stop.is_set():
            made += 1
            path = lot(Path(folder), f"{name}-{made:04d}")
            while True:
                with contextlib.suppress(MarketError):  # in a single line, and to be done again
                    report = Market.open(address).load([path], today=TODAY)
                    assert report.accepted + report.known == ROWS
                    acknowledged.write(f"{path.stem}\n")
                    acknowledged.flush()
                    break


def read_on(address: str, copies: str, at_work: Any, stop: Any, found: Any) -> None:
    """Read until told to stop, once at least: whole lots only, and never fewer than before."""
    os.environ["PRICING_COPIES"] = copies
    reads, before = 0, pl.Series("source", [], dtype=pl.String)
    try:
        market = None
        while market is None:
            with contextlib.suppress(ServerAwayError):  # no copy yet, and the server is being stopped
                market = Market.open(address, create=False)
        at_work.wait(PATIENCE)
        while True:
            try:
                held = market.sales(every_record=True).group_by("source").len()
            except (
                InUseError
            ):  # refused in a line on a busy machine, as a writer may be, and to be asked again
                if stop.is_set():
                    break
                continue
            if held.filter(pl.col("len") != ROWS).height:
                found.put(f"half a batch: {held.filter(pl.col('len') != ROWS)}")
                return
            if gone := before.filter(~before.is_in(held["source"].implode())).to_list():
                found.put(f"lost: {gone}")
                return
            before = held["source"]
            reads += 1
            if stop.is_set():
                break
    except Exception as error:  # noqa: BLE001
        found.put(repr(error))
        return
    found.put(reads)


@pytest.mark.parametrize(
    ("writers", "readers", "seconds", "rounds"),
    [
        pytest.param(2, 2, 6.0, 1, marks=pytest.mark.soak, id="six seconds"),
        pytest.param(4, 8, SECONDS, max(1, round(SECONDS / 20)), marks=pytest.mark.soak, id="long"),
    ],
)
def test_all_copies_agree_whatever_happens(
    postgres: PostgresServer,
    address: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    writers: int,
    readers: int,
    seconds: float,
    rounds: int,
) -> None:
    machines = [str(tmp_path / "one"), str(tmp_path / "two")]
    monkeypatch.setenv("PRICING_COPIES", machines[0])
    Market.open(address)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["pricing.store.market", "pricing.store.postgres.copy", "tests.store.test_market"]
    )
    at_work, stop, found = context.Barrier(readers + 1), context.Event(), context.Queue()

    def start_writer(number: int) -> BaseProcess:
        process = context.Process(
            target=write_on,
            args=(address, machines[number % 2], str(tmp_path), f"writer{number}", stop),
        )
        process.start()
        return process

    writing: list[BaseProcess] = [start_writer(number) for number in range(writers)]
    reading: list[BaseProcess] = [
        context.Process(target=read_on, args=(address, machines[number % 2], at_work, stop, found))
        for number in range(readers)
    ]
    for process in reading:
        process.start()
    at_work.wait(
        PATIENCE
    )  # a busy machine takes long to start a program: the faults are for programs at work
    faults = ("stop", "cut", "crash", "kill", "cut")
    for fault in faults * rounds:
        time.sleep(seconds / (rounds * len(faults)))
        if fault == "kill":
            writing[0].kill()
            writing[0].join(PATIENCE)
            writing[0] = start_writer(0)
        elif fault == "cut":
            postgres.cut_sessions()
        else:
            postgres.restart("fast" if fault == "stop" else "immediate")
    stop.set()
    outcomes = [found.get(timeout=PATIENCE) for _ in reading]
    for process in (*reading, *writing):
        process.join(PATIENCE)
    assert [process.exitcode for process in writing] == [0] * writers
    assert all(isinstance(outcome, int) and outcome > 0 for outcome in outcomes), outcomes

    acknowledged = [
        line for path in tmp_path.glob("*.acknowledged") for line in path.read_text(encoding="utf-8").split()
    ]
    states = []
    for machine in (*machines, str(tmp_path / "fresh")):
        monkeypatch.setenv("PRICING_COPIES", machine)
        market = Market.open(address)
        states.append((market.digest(), contents(market.path)))
    assert states[0] == states[1] == states[2]
    sources = market.sales(every_record=True)["source"]
    assert set(acknowledged) <= set(sources) and len(acknowledged) == len(set(acknowledged))
    # What was not acknowledged, when its writer was killed, is there whole or not at all.
    assert sources.value_counts()["count"].unique().to_list() == [ROWS]
    batches = market.batches()
    assert batches["batch_id"].to_list() == [f"batch-{nth:04d}" for nth in range(1, batches.height + 1)]
    with psycopg.connect(address) as session:
        kept = session.execute(
            "SELECT count(*), count(DISTINCT batch_id) FROM market.records WHERE until_entry IS NULL"
        ).fetchone()
    assert kept == (sources.len(), batches.height)
    print(
        f"{batches.height} batches of {writers} writers, {sum(outcomes)} reads of {readers} readers, "
        f"{2 * rounds} restarts, {2 * rounds} cuts, {rounds} writers killed: all copies equal"
    )
