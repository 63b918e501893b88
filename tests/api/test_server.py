"""The server as a process of its own: started by its command, stopped, killed, and asked all the while."""

import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import pytest

from pricing.api.client import Client
from pricing.errors import ServerAwayError
from pricing.store.market import Market
from tests.api.servers import PATIENCE, answered, copied, killable, serving
from tests.ports import free_port
from tests.small_market import common_car
from tests.store.test_crashes import ROWS, many

PRICING = Path(sys.executable).with_name("pricing")


@contextmanager
def process(market: Path, *options: str) -> Iterator[tuple[str, "subprocess.Popen[str]"]]:
    """The command's own server; stopped at the end if it still runs, with the processes that it started."""
    port = free_port()
    words = ["--trust-this-machine", "--port", str(port), *options]
    command: list[str | Path] = [PRICING, "serve", "--market", market, *words]
    patient = os.environ | {"PRICING_STOP_SECONDS": f"{PATIENCE:.0f}"}
    with subprocess.Popen(
        command, env=patient, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as server:
        address = f"http://127.0.0.1:{port}"
        try:
            answered(address, server)
            yield address, server
        finally:
            server.terminate()
            try:
                server.wait(PATIENCE)
            except subprocess.TimeoutExpired:
                server.kill()


def in_hand(address: str) -> float:
    """How many requests a server is working on, this one among them."""
    told = httpx.get(f"{address}/metrics", timeout=PATIENCE).text
    (found,) = re.findall(r"^pricing_requests_in_hand (\S+)$", told, re.MULTILINE)
    return float(found)


def test_one_process_serves_the_dashboard_and_the_api_and_finishes_what_it_holds(
    small_market: Market, tmp_path: Path
) -> None:
    own = copied(small_market, tmp_path)
    with process(own.path) as (address, server):
        page = httpx.get(address, timeout=PATIENCE)
        assert page.is_success and "text/html" in page.headers["content-type"]
        assert httpx.get(f"{address}/_stcore/health", timeout=PATIENCE).text == "ok"
        assert (
            httpx.get(f"{address}/api/v1/nowhere", timeout=PATIENCE).headers["content-type"]
            == "application/problem+json"
        )
        given = httpx.get(f"{address}/ready", headers={"X-Request-ID": "desk-7-question-1"}, timeout=PATIENCE)
        assert given.headers["x-request-id"] == "desk-7-question-1"
        answers: list[Any] = []

        def fit() -> None:
            with Client(address, seconds=PATIENCE) as client:
                answers.append(client.fit())

        asking, alone = threading.Thread(target=fit), in_hand(address)
        asking.start()
        while in_hand(address) == alone and asking.is_alive():
            time.sleep(0.02)
        server.send_signal(signal.SIGTERM)
        asking.join(PATIENCE)
        _, log = server.communicate(timeout=PATIENCE)
    assert [answer["fit_id"] for answer in answers] == ["fit-0002"]
    lines = [json.loads(line) for line in log.splitlines() if line.startswith("{")]
    named = [line for line in lines if line["request"] == "desk-7-question-1"]
    assert named and (named[0]["route"], named[0]["status"], named[0]["level"]) == ("/ready", 200, "info")
    assert all({"time", "level", "logger", "message"} <= set(line) for line in lines)


def survives(folder: Path, kills: int) -> int:
    """Kill the server at random points of loads, and ask again under the same key; returns how many hit
    one."""
    rng, hit = random.Random(3), 0  # noqa: S311 - when to strike, no secret
    rows = many(folder / "rows.csv", ROWS)
    whole = Market.open(folder / "whole.duckdb")
    with killable(whole.path) as (address, _), Client(address, seconds=PATIENCE) as client:
        start = time.perf_counter()
        client.load([rows])
        seconds = time.perf_counter() - start
    for kill in range(kills):
        path = folder / f"killed-{kill}.duckdb"
        Market.open(path)
        acknowledged: list[Any] = []

        with killable(path) as (address, server):

            def load(address: str = address, acknowledged: list[Any] = acknowledged) -> None:
                with Client(address, seconds=PATIENCE) as client, suppress(ServerAwayError):
                    acknowledged.append(client.load([rows], key="the-one-load"))

            loading = threading.Thread(target=load)
            loading.start()
            time.sleep(rng.uniform(0.0, 1.5 * seconds))
            server.kill()
            loading.join(PATIENCE)
        held = Market.open(path).sales(every_record=True).height
        assert held in (0, ROWS - ROWS // 100), f"{held} records after kill {kill}"
        assert held or not acknowledged, "what was acknowledged is there"
        hit += not acknowledged
        with serving(path) as address, Client(address, seconds=PATIENCE) as client:
            report = client.load([rows], key="the-one-load")
        assert (report["accepted"], report["known"]) == (ROWS - ROWS // 100, 0), "told as it was done"
        assert acknowledged in ([], [report])
        assert Market.open(path).digest() == whole.digest()
        path.unlink()
    return hit


@pytest.mark.soak
def test_a_server_killed_in_thirty_loads_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    hit = survives(tmp_path, 30)
    print(f"30 servers killed, {hit} of them before they had acknowledged the load")
    assert hit >= 10


@pytest.mark.soak
def test_several_processes_answer_as_one(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    car = common_car(own)
    with process(own.path, "--no-dashboard", "--workers", "2") as (address, _):
        with Client(address, seconds=PATIENCE) as client:
            expected = client.value(car)
        found = []
        for _ in range(8):
            with Client(address, seconds=PATIENCE) as client:
                found.append(client.value(car))
        assert found == [expected] * 8
