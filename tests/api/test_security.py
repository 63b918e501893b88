"""Who may do what, and what hostile requests come to: one line each, and nothing else."""

import io
import pickle
import re
import socket
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import duckdb
import httpx
import numpy as np
import pytest

from pricing.api.client import Client, ProblemError
from pricing.operations.access import ROLES
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, serving
from tests.small_market import common_car

RECORD = {"assignment": {"kind": "model report", "client": "A. Client"}, "subject": {"make": "make 4"}}


@pytest.fixture(scope="module")
def own(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    return copied(small_market, tmp_path_factory.mktemp("guarded"))


@pytest.fixture(scope="module")
def tokens(own: Market) -> dict[str, str]:
    made = {role: own.tokens.new(f"the {role} desk", role)[1] for role in ROLES}
    return made | {"other": own.tokens.new("another valuer", "appraise")[1]}


@pytest.fixture(scope="module")
def guarded(own: Market, tokens: dict[str, str]) -> Iterator[str]:
    limits = {"requests_a_second": 1000.0, "burst": 1000, "largest_body": 20_000}
    with serving(own.path, access="tokens", **limits) as address:
        yield address


def test_without_a_token_nothing_is_told(guarded: str) -> None:
    document = httpx.get(f"{guarded}/api/openapi.json", timeout=PATIENCE).json()
    for path, methods in document["paths"].items():
        for method in methods:
            if path in ("/health", "/ready"):
                continue
            answer = httpx.request(method, guarded + path.replace("{", "").replace("}", ""), timeout=PATIENCE)
            assert answer.status_code in (401, 422), f"{method} {path}: {answer.text}"
            if answer.status_code == 401:
                assert answer.headers["www-authenticate"].startswith("Bearer")
            assert "make 4" not in answer.text


def test_a_request_that_makes_no_sense_is_not_looked_at_without_a_token(guarded: str) -> None:
    assert httpx.get(f"{guarded}/api/v1/records?limit=0", timeout=PATIENCE).status_code == 401


@pytest.mark.parametrize(
    ("method", "path", "sent", "allowed"),
    [
        ("GET", "/market", {}, ROLES.keys()),
        ("DELETE", "/batches/batch-0099", {}, {"load", "manage"}),
        ("POST", "/batches", {"files": {"files": ("a.csv", b"x\n1\n")}}, {"load", "manage"}),
        ("GET", "/appraisals", {}, {"appraise", "manage"}),
        ("POST", "/appraisals", {"json": {"record": {"nothing": {}}}}, {"appraise", "manage"}),
        (
            "POST",
            "/appraisals/appraisal-0099/photographs?after=1",
            {"files": {"photograph": ("a.jpg", b"x")}},
            {"appraise", "manage"},
        ),
    ],  # fmt: skip
)
def test_each_role_may_do_its_own_alone(
    guarded: str, tokens: dict[str, str], method: str, path: str, sent: dict[str, Any], allowed: set[str]
) -> None:
    for role in ROLES:
        answer = httpx.request(
            method,
            f"{guarded}/api/v1{path}",
            headers={"Authorization": f"Bearer {tokens[role]}"},
            **sent,
            timeout=PATIENCE,
        )
        assert (answer.status_code != 403) == (role in allowed), f"{role}: {answer.text}"


def test_another_s_appraisal_is_not_there(guarded: str, tokens: dict[str, str]) -> None:
    with Client(guarded, tokens["appraise"]) as mine, Client(guarded, tokens["other"]) as theirs:
        name = mine.enter_appraisal(RECORD, key="first-appraisal")["appraisal_id"]
        assert mine.enter_appraisal(RECORD, key="first-appraisal")["appraisal_id"] == name
        assert [row["appraisal_id"] for row in mine.items("appraisals")] == [name]
        assert list(theirs.items("appraisals")) == []
        for ask in (
            lambda: theirs.appraisal(name),
            lambda: theirs.document(name),
            lambda: theirs.change_appraisal(name, {"subject.year": "1966"}, after=1),
        ):
            with pytest.raises(ProblemError, match="there is no appraisal") as caught:
                ask()
            assert caught.value.status == 404
        changed = mine.change_appraisal(name, {"subject.year": "1966"}, after=1)
        assert (changed["revision"], changed["made_by"]) == (2, "the appraise desk")
        with pytest.raises(ProblemError, match="a revision meanwhile") as caught:
            mine.change_appraisal(name, {"subject.year": "1967"}, after=1)
        assert caught.value.status == 409
        with pytest.raises(ProblemError) as caught:
            mine.document(name)
        assert caught.value.status == 422, "it lacks what the document must hold"
    with Client(guarded, tokens["manage"]) as manager:
        assert manager.appraisal(name)["revision"] == 2


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "..%2f..%2fsecret.pdf", "report.pdf/../x", "report.exe", "%00"]
)
def test_documents_have_the_names_they_have(guarded: str, tokens: dict[str, str], name: str) -> None:
    with Client(guarded, tokens["manage"]) as client, pytest.raises(ProblemError) as caught:
        client.document("appraisal-0001", name)
    assert caught.value.status in (404, 422)


def test_a_record_may_not_name_files_of_the_server(guarded: str, tokens: dict[str, str]) -> None:
    with Client(guarded, tokens["appraise"]) as client:
        for section, field in (("inspection", "sheet"), ("repairs", "catalogue")):
            with pytest.raises(ProblemError, match="names a file") as caught:
                client.enter_appraisal({**RECORD, section: {field: "/etc/passwd"}})
            assert caught.value.status == 422


def test_a_token_is_kept_as_a_digest_and_can_be_revoked(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    token_id, token = own.tokens.new("valuation desk", "read", days=1)
    assert token.encode() not in own.path.read_bytes()
    with serving(own.path, access="tokens") as address, Client(address, token) as client:
        assert client.market()["base_currency"] == "EUR"
        own.tokens.revoke(token_id)
        deadline = time.monotonic() + PATIENCE
        status = 200
        while status != 401 and time.monotonic() < deadline:
            status = httpx.get(
                f"{address}/api/v1/market", headers={"Authorization": f"Bearer {token}"}, timeout=PATIENCE
            ).status_code
        assert status == 401
    assert own.tokens.listed()["revoked_at"].null_count() == 0


def test_a_token_that_ran_out_opens_nothing(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    _, token = own.tokens.new("valuation desk", "read", days=1)
    with duckdb.connect(str(own.path)) as opened:
        opened.execute("UPDATE tokens SET expires_at = made_at")
    with serving(own.path, access="tokens") as address, Client(address, token) as client:
        with pytest.raises(ProblemError, match="has run out") as caught:
            client.market()
        assert caught.value.status == 401


def test_too_many_requests_and_too_many_guesses_are_slowed_down(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pricing.api.service.GUESSES_A_MINUTE", 2)
    own = copied(small_market, tmp_path)
    _, token = own.tokens.new("valuation desk", "read")
    with serving(own.path, access="tokens", requests_a_second=0.01, burst=3) as address:
        mine = {"Authorization": f"Bearer {token}"}
        answers = [httpx.get(f"{address}/api/v1/market", headers=mine, timeout=PATIENCE) for _ in range(4)]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
        assert int(answers[-1].headers["retry-after"]) > 0
        guesses = [
            httpx.get(
                f"{address}/api/v1/market",
                headers={"Authorization": f"Bearer guess-{place}"},
                timeout=PATIENCE,
            ).status_code
            for place in range(4)
        ]
        assert guesses[:2] == [401, 401] and guesses[-1] == 429


@pytest.mark.parametrize(
    "headers",
    [{"X-Forwarded-For": "192.0.2.7"}, {"Forwarded": "for=192.0.2.7"}, {"Via": "1.1 desk"}],
)
def test_without_tokens_only_this_machine_itself_is_let_in(address: str, headers: dict[str, str]) -> None:
    assert httpx.get(f"{address}/api/v1/market", timeout=PATIENCE).is_success
    answer = httpx.get(f"{address}/api/v1/market", headers=headers, timeout=PATIENCE)
    assert answer.status_code == 401


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.invalid"}, {"Origin": "https://evil.invalid"}, {"Origin": "null"},
        {"Host": "evil.invalid:80", "Origin": "http://evil.invalid:80"}, {"Host": "127.0.0.1@evil.invalid"},
    ],
)  # fmt: skip
def test_another_name_or_another_site_s_page_is_refused(
    guarded: str, tokens: dict[str, str], headers: dict[str, str]
) -> None:
    mine = {"Authorization": f"Bearer {tokens['manage']}", **headers}
    answer = httpx.get(f"{guarded}/api/v1/market", headers=mine, timeout=PATIENCE)
    assert answer.status_code == 403 and "make 4" not in answer.text
    assert httpx.get(f"{guarded}/health", headers=headers, timeout=PATIENCE).is_success


def test_names_and_sites_of_the_configuration_are_answered(small_market: Market) -> None:
    settings = {"hosts": "Prices.example, desk.example", "origins": "https://site.example"}
    with serving(small_market.path, access="tokens", **settings) as address:
        for sent in ({"Host": "prices.example:443"}, {"Origin": "https://site.example"}):
            answer = httpx.get(f"{address}/api/v1/market", headers=sent, timeout=PATIENCE)
            assert answer.status_code == 401


def test_behind_a_proxy_that_says_nothing_of_itself_nobody_comes_in(guarded: str) -> None:
    """What nginx 1.22 sends for a `proxy_pass` without any other line: HTTP/1.0 and the host it was told."""
    for address in (guarded, guarded.replace("127.0.0.1", "localhost")):
        host, port = address.removeprefix("http://").split(":")
        with socket.create_connection((host, int(port)), timeout=PATIENCE) as line:
            line.sendall(
                f"DELETE /api/v1/batches/batch-0001 HTTP/1.0\r\nHost: {host}:{port}\r\n"
                "Connection: close\r\n\r\n".encode()
            )
            assert line.recv(4000).startswith(b"HTTP/1.1 401")


def test_an_upload_is_refused_before_a_byte_of_it_is_read(guarded: str, tokens: dict[str, str]) -> None:
    host, port = guarded.removeprefix("http://").split(":")
    for token, status in (("", 401), ("ccp_guess", 401), (tokens["read"], 403)):
        with socket.create_connection((host, int(port)), timeout=PATIENCE) as line:
            line.sendall(
                f"POST /api/v1/batches HTTP/1.1\r\nHost: {host}:{port}\r\n"
                f"{f'Authorization: Bearer {token}' if token else 'X-No: token'}\r\n"
                "Content-Type: multipart/form-data; boundary=b\r\nContent-Length: 900000\r\n\r\n--b".encode()
            )
            assert line.recv(4000).startswith(f"HTTP/1.1 {status}".encode()), token


def test_a_large_body_is_refused_announced_or_not(guarded: str, tokens: dict[str, str]) -> None:
    mine = {"Authorization": f"Bearer {tokens['read']}", "Content-Type": "application/json"}
    for content in (b"x" * 30_000, iter([b"x" * 1000] * 30)):
        answer = httpx.post(f"{guarded}/api/v1/standings", headers=mine, content=content, timeout=PATIENCE)
        assert answer.status_code == 413 and "20,000 bytes" in answer.json()["detail"]


def test_a_slow_body_is_given_up(small_market: Market) -> None:
    with serving(small_market.path, body_seconds=1.0) as address:
        host, port = address.removeprefix("http://").split(":")
        with socket.create_connection((host, int(port)), timeout=PATIENCE) as line:
            line.sendall(
                f"POST /api/v1/standings HTTP/1.1\r\nHost: {host}:{port}\r\n"
                "Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n{".encode()
            )
            assert line.recv(4000).startswith(b"HTTP/1.1 408")


def heard(line: socket.socket, pieces: Iterator[bytes], seconds: float) -> bytes:
    """What is answered while pieces are sent one after another, until the connection is closed."""
    found, deadline = b"", time.monotonic() + seconds
    line.settimeout(0.1)
    while time.monotonic() < deadline:
        with suppress(OSError):
            line.sendall(next(pieces, b""))
        try:
            some = line.recv(4000)
        except TimeoutError:
            continue
        except ConnectionError:
            return found
        if not some:
            return found
        found += some
    raise AssertionError(f"the connection stayed open for {seconds} s")


@pytest.mark.parametrize("before", [b"", b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"])
def test_slow_headers_are_given_up(address: str, monkeypatch: pytest.MonkeyPatch, before: bytes) -> None:
    monkeypatch.setattr("pricing.api.middleware.connections.HEADER_SECONDS", 1.0)
    host, port = address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=PATIENCE) as line:
        if before:
            line.sendall(before)
            assert b"200 OK" in line.recv(4000)
        head = b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: " + b"a" * 10_000
        answer = heard(line, (head[place : place + 1] for place in range(len(head))), PATIENCE)
    assert answer.startswith(b"HTTP/1.1 408")


def test_a_connection_that_says_nothing_is_given_up(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pricing.api.middleware.connections.HEADER_SECONDS", 0.5)
    host, port = address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=PATIENCE) as line:
        assert heard(line, iter(()), 30.0).startswith(b"HTTP/1.1 408")


def test_a_slow_answer_and_a_long_silence_after_one_are_not_slow_headers(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pricing.api.middleware.connections.HEADER_SECONDS", 0.3)
    with httpx.Client(base_url=address) as line:
        assert line.get("/health").is_success
        time.sleep(0.7)
        assert line.get("/health").is_success


def test_oversize_headers_and_addresses_are_refused(guarded: str) -> None:
    for sent in ({"headers": {"X-Long": "x" * 300_000}}, {"params": {"make": "x" * 64_000}}):
        try:
            answer = httpx.get(f"{guarded}/api/v1/records", **sent, timeout=PATIENCE)  # type: ignore[arg-type]
        except httpx.TransportError:
            continue  # closed without a word
        assert 400 <= answer.status_code < 500
    assert httpx.get(f"{guarded}/health", timeout=PATIENCE).is_success


def test_an_oversize_upload_is_refused_before_it_is_kept(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    before = own.digest()
    with serving(own.path, largest_upload=50_000) as address:
        answer = httpx.post(
            f"{address}/api/v1/batches", files={"files": ("a.csv", b"x" * 60_000)}, timeout=PATIENCE
        )
        assert answer.status_code == 413 and "50,000 bytes" in answer.json()["detail"]
    assert own.digest() == before


HOSTILE = (
    "'; DROP TABLE records; --",
    "{{1234*4321}}${1234*4321}<%= 1234*4321 %>", "\" OR 1=1", "../../../etc/passwd",
    "%n%s%x",
    "=cmd|' /C calc'!A0", "\u202e\u0000", "#set($x=1234*4321)$x", "robert'); CHECKPOINT; --",
)  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_sql_and_templates_in_any_field_are_only_text(
    guarded: str, own: Market, tokens: dict[str, str], text: str
) -> None:
    car = common_car(own)
    digest = own.digest()
    with Client(guarded, tokens["manage"]) as client:
        for field in ("make", "model", "variant", "chassis_number", "body_style", "country", "channel"):
            try:
                found = str(client.value({**car, field: text}))
            except ProblemError as error:
                assert error.status == 422
                found = str(error)
            assert "5332114" not in found
        for ask in (
            lambda: list(client.items("records", make=text)),
            lambda: client.index(make=text),
            lambda: list(client.items("quarantine", batch_id=text[:40])),
            lambda: client.undo(text),
            lambda: client.score({"construction": "monocoque", "car": {"make": text}, "findings": []}),
        ):
            try:
                ask()
            except ProblemError as error:
                assert error.status in (404, 422), str(error)
    assert own.digest() == digest


def test_a_fit_that_holds_a_pickle_is_never_read(small_market: Market, tmp_path: Path) -> None:
    class Trap:
        def __reduce__(self) -> tuple[Any, ...]:
            return (Path.touch, (tmp_path / "sprung",))

    pickled = io.BytesIO()
    np.savez(pickled, header=np.array([Trap()], dtype=object), seal=np.zeros(32, np.uint8))
    for payload in (pickle.dumps(Trap()), pickled.getvalue()):
        folder = tmp_path / str(len(payload))
        folder.mkdir()
        own = copied(small_market, folder)
        own.store_fit(payload, small_market.load_fit()[1])
        with serving(own.path) as address:
            answer = httpx.post(
                f"{address}/api/v1/values", json={"cars": [common_car(own)]}, timeout=PATIENCE
            )
            assert answer.status_code == 503 and "cannot be read" in answer.json()["detail"], answer.text
    assert not (tmp_path / "sprung").exists()


def test_no_source_of_the_service_reads_a_pickle() -> None:
    for path in Path(__file__).parents[2].joinpath("pricing").rglob("*.py"):
        assert not re.search(
            r"^\s*(import|from) (pickle|shelve|marshal|joblib)\b", path.read_text(), re.MULTILINE
        )
