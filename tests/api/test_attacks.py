"""Requests that mean to stop a server: each is answered, and whoever else asks is answered meanwhile."""

import asyncio
import json
import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.requests import Request
from starlette.types import Message

from pricing.api.car_lists import SHORT_BODY, read_list
from pricing.api.problems import HttpProblemError, handle_problems
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, killable
from tests.small_market import common_car

VALUES, VALUATIONS, SCORE = "/api/v1/values", "/api/v1/valuations", "/api/v1/inspections/score"
BATCHES = "/api/v1/batches"


def parts(count: int, kind: str, content: bytes = b"x") -> bytes:
    """A form of many parts, as a browser sends files and fields (RFC 7578)."""
    part = f'--b\r\nContent-Disposition: form-data; name="files"{kind}\r\n\r\n'.encode() + content + b"\r\n"
    return part * count + b"--b--\r\n"


ZEROS = b'{"cars":[' + b"0," * 2_000_000 + b"0]}"
ATTACKS: dict[str, tuple[str, bytes, set[int]]] = {
    "zeros, 4 MB": (VALUES, ZEROS, {422}),
    "zeros, 20 MB": (VALUES, b'{"cars":[' + b"0," * 10_000_000 + b"0]}", {413}),
    "empty cars": (VALUES, b'{"cars":[' + b"{}," * 1_000_000 + b"{}]}", {422}),
    "lists in lists": (VALUES, b'{"cars":' + b"[" * 3_000_000, {422}),
    "an endless number": (VALUES, b'{"cars":[{"year":' + b"9" * 3_000_000 + b"}]}", {422}),
    "an endless word": (VALUES, b'{"cars":[{"make":"' + b"\\u0061" * 3_000_000 + b'"}]}', {422}),
    "options": (VALUATIONS, b'{"car":{"options":[' + b"0," * 400_000 + b"0]}}", {413}),
    "keys": (VALUATIONS, json.dumps({"car": {f"k{place}": 0 for place in range(60_000)}}).encode(), {413}),
    "brackets": (SCORE, b"[" * 900_000, {400, 422}),
    "100,000 files": (BATCHES, parts(100_000, '; filename="a.csv"'), {400}),
    "100,000 fields": (BATCHES, parts(100_000, ""), {400}),
    "51 files": (BATCHES, parts(51, '; filename="a.csv"'), {422}),
    "half ends of a part": (BATCHES, parts(1, '; filename="a.zip"', b"\r\n--" * 2_000_000), {422}),
    "a part of returns": (BATCHES, parts(1, '; filename="a.zip"', b"\r" * 4_000_000), {422}),
    "digits": (VALUATIONS, b'{"car":{"year":' + b"9" * 900_000 + b"}}", {400, 422}),
}
"""Where each goes, and how it may be answered."""

JSON = {"Content-Type": "application/json"}
FORM = {"Content-Type": "multipart/form-data; boundary=b"}


@pytest.fixture(scope="module")
def attacked(small_market: Market) -> Iterator[str]:
    """A server in a process of its own, which shares its interpreter with nobody."""
    with killable(small_market.path) as (address, _):
        httpx.get(f"{address}/ready", timeout=PATIENCE)
        yield address


def waits(address: str, path: str, body: bytes) -> tuple[httpx.Response, float]:
    """The answer to a request, and the longest wait for `/health` while it was being worked on."""
    answers: list[httpx.Response] = []

    def attack() -> None:
        answers.append(
            httpx.post(
                f"{address}{path}", content=body, headers=FORM if path == BATCHES else JSON, timeout=PATIENCE
            )
        )

    attacking, longest = threading.Thread(target=attack), 0.0
    with httpx.Client(base_url=address, timeout=PATIENCE) as client:
        client.get("/health")
        attacking.start()
        while attacking.is_alive():
            start = time.perf_counter()
            assert client.get("/health").is_success
            longest = max(longest, time.perf_counter() - start)
            time.sleep(0.005)
    attacking.join()
    return answers[0], longest


@pytest.mark.parametrize("name", ATTACKS)
def test_an_attack_is_answered_and_nobody_waits_for_it(attacked: str, name: str) -> None:
    path, body, expected = ATTACKS[name]
    answer, longest = waits(attacked, path, body)
    assert answer.status_code in expected and answer.json()["detail"] and len(answer.content) < 10_000
    assert longest < 2.0, "on a busy machine; the figure of a quiet one is printed by the soak below"


def many_cars(market: Market, count: int) -> bytes:
    car = {name: part for name, part in common_car(market).items() if part is not None}
    return json.dumps({"cars": [car] * count}).encode()


def test_a_long_list_is_read_apart_and_valued_as_a_short_one(attacked: str, small_market: Market) -> None:
    found: list[Any] = []
    for count in (1, 40, 3_000):
        answer = httpx.post(
            f"{attacked}{VALUES}", content=many_cars(small_market, count), headers=JSON, timeout=PATIENCE
        )
        assert answer.is_success, answer.text
        assert len(answer.json()["values"]) == count
        found.append(answer.json()["values"][-1])
    assert found[0] == found[1] == found[2]


def test_a_list_that_takes_more_than_any_true_one_is_refused(
    small_market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_READ_MEMORY", "1")
    with pytest.raises(HttpProblemError, match="it would take more than") as refused:
        read_list(b'{"cars":[' + b"{}," * 300_000 + b"{}]}", 50_000)
    assert refused.value.status == 413


def test_a_caller_that_leaves_in_the_middle_of_a_request_is_no_failure_of_the_server() -> None:
    app, sent = FastAPI(), list[Message]()
    handle_problems(app)

    @app.post("/")
    async def read(request: Request) -> None:
        await request.body()

    told: Iterator[Message] = iter(
        [{"type": "http.request", "body": b"{", "more_body": True}, {"type": "http.disconnect"}]
    )

    async def receive() -> Message:
        return next(told)

    async def send(message: Message) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [], "query_string": b""}
    asyncio.run(app(scope, receive, send))
    assert sent[0]["status"] == 400 and b"before its body did" in sent[1]["body"]


def filled(head: bytes, part: bytes, tail: bytes) -> bytes:
    """As long a body as is read at once."""
    return head + part * ((SHORT_BODY - len(head) - len(tail)) // len(part)) + tail


SHORT = {
    "zeros": filled(b'{"cars":[', b"0,", b"0]}"),
    "empty cars": filled(b'{"cars":[', b"{},", b"{}]}"),
    "fields": b'{"cars":[{' + b",".join(b'"k%d":0' % place for place in range(2_900)) + b"}]}",
    "options": filled(b'{"cars":[{"options":[', b"0,", b"0]}]}"),
    "no options": filled(b'{"cars":[{"options":[', b'"",', b'""]}]}'),
    "digits": filled(b'{"cars":[{"asking":"', b"9", b'"}]}'),
    "wrong": filled(b'{"cars":[', b'{"year":"x","make":0,"asking":"y"},', b"{}]}"),
    "escaped": filled(b'{"cars":[{"make":"', b"\\u0061", b'"}]}'),
    "brackets": filled(b'{"cars":', b"[", b""),
}


@pytest.mark.parametrize("name", SHORT)
def test_a_short_list_holds_the_server_s_loop_for_no_time_that_anybody_would_notice(name: str) -> None:
    """In seconds of the thread's own, the least of ten: those of a quiet machine."""
    body, taken = SHORT[name], list[float]()
    assert SHORT_BODY - 5_000 < len(body) <= SHORT_BODY
    for _ in range(10):
        began = time.thread_time()
        with suppress(RequestValidationError):
            read_list(body, 50_000)
        taken.append(time.thread_time() - began)
    assert min(taken) < 0.01


def hold(address: str, count: int) -> list[socket.socket]:
    """Requests that never come to an end."""
    host, port = address.removeprefix("http://").split(":")
    held = [socket.create_connection((host, int(port)), timeout=PATIENCE) for _ in range(count)]
    for line in held:
        line.sendall(
            f"POST {VALUES} HTTP/1.1\r\nHost: {host}:{port}\r\nContent-Type: application/json\r\n"
            "Content-Length: 40000\r\n\r\n{".encode()
        )
    return held


def sleeping() -> None:
    """Have every score take for ever on a thread, which nothing can call off."""
    from pricing.api.routes import condition as routes_condition

    routes_condition.assessed = lambda inspection: time.sleep(3600)  # type: ignore[assignment, return-value]


def test_a_server_told_to_stop_is_gone_in_ten_seconds_whatever_it_holds(
    small_market: Market, tmp_path: Path
) -> None:
    own = copied(small_market, tmp_path)
    with killable(own.path, sleeping) as (address, process):
        held = hold(address, 10)
        asking = b'{"construction":"monocoque"}'

        def ask() -> None:
            with suppress(httpx.TransportError):
                answer = httpx.post(f"{address}{SCORE}", content=asking, headers=JSON, timeout=PATIENCE)
                assert answer.status_code >= 500

        threads = [threading.Thread(target=ask) for _ in range(45)]
        for thread in threads:
            thread.start()
        time.sleep(1.0)
        assert process.pid is not None
        start = time.perf_counter()
        os.kill(process.pid, signal.SIGTERM)
        process.join(PATIENCE)
        seconds = time.perf_counter() - start
        for thread in threads:
            thread.join(PATIENCE)
        for line in held:
            line.close()
    assert seconds < 12.0, "ten seconds, and two of a busy machine"


@pytest.mark.soak
def test_health_answers_within_a_tenth_of_a_second_while_each_attack_runs(
    attacked: str, small_market: Market
) -> None:
    attacks = {name: (path, body) for name, (path, body, _) in ATTACKS.items()}
    attacks["50,000 cars"] = (VALUES, many_cars(small_market, 50_000))
    for name, (path, body) in attacks.items():
        start = time.perf_counter()
        answer, longest = waits(attacked, path, body)
        seconds = time.perf_counter() - start
        print(f"{name}: {answer.status_code} after {seconds:.2f} s, /health within {1000 * longest:.0f} ms")
        assert longest < 0.1, name
