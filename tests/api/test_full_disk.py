"""No room on the disk: a line that says so, nothing lost, nothing half-written, and recovery once there is
room."""

import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import httpx
import polars as pl
import pytest

from pricing.api.client import Client
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, killable, serving
from tests.store.test_crashes import many

ROWS = 30_000
ROOM = 100_000
"""Bytes that a file may grow by."""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs POSIX file limits")


class Full:
    """Called in a process, it lets no file there grow past a size; memory that the reading processes share,
    which is no disk, they may ask for beyond it."""

    def __init__(self, largest: int) -> None:
        self.largest = largest

    def __call__(self) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (self.largest, resource.RLIM_INFINITY))


@pytest.fixture
def own(small_market: Market, tmp_path: Path) -> Market:
    return copied(small_market, tmp_path)


@pytest.fixture
def rows(tmp_path: Path) -> Path:
    """A small file of many rows, no two alike."""
    pl.read_csv(many(tmp_path / "many.csv", ROWS), infer_schema=False).write_parquet(
        tmp_path / "many.parquet"
    )
    return tmp_path / "many.parquet"


def test_a_load_over_the_api_is_refused_and_can_be_done_when_there_is_room(own: Market, rows: Path) -> None:
    before, waiting = own.digest(), own.quarantine()
    key = {"Idempotency-Key": "the-one-load"}
    sent = {"files": (rows.name, rows.read_bytes())}
    with killable(own.path, Full(own.path.stat().st_size + ROOM)) as (address, _):
        answer = httpx.post(f"{address}/api/v1/batches", headers=key, files=sent, timeout=PATIENCE)
        assert answer.status_code == 503 and int(answer.headers["retry-after"]) > 0, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        assert "unchanged" in answer.json()["detail"]
        assert httpx.get(f"{address}/api/v1/market", timeout=PATIENCE).json()["batches"] == 1
    assert own.digest() == before and own.batches().height == 1 and own.quarantine().equals(waiting)
    with serving(own.path) as address, Client(address, seconds=PATIENCE) as client:
        assert client.load([rows], key="the-one-load")["accepted"] == ROWS - ROWS // 100


def test_an_upload_for_which_there_is_no_room_is_refused(own: Market, tmp_path: Path) -> None:
    before = own.digest()
    with killable(own.path, Full(1_500_000)) as (address, _):
        sent = {"files": ("long.csv", b"x,y\n" * 500_000)}
        answer = httpx.post(f"{address}/api/v1/batches", files=sent, timeout=PATIENCE)
        assert answer.status_code == 503 and "no room" in answer.json()["detail"], answer.text
        assert httpx.get(f"{address}/health").is_success
    assert own.digest() == before


def test_a_load_by_the_command_is_refused_in_a_line(own: Market, rows: Path) -> None:
    before = own.digest()
    done = subprocess.run(
        [Path(sys.executable).with_name("pricing"), "load", rows, "--market", own.path],
        preexec_fn=Full(own.path.stat().st_size + ROOM), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "unchanged" in done.stderr.strip().splitlines()[-1]
    assert own.digest() == before and own.batches().height == 1
