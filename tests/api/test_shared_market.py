"""The API on a market that a PostgreSQL server keeps: the same answers, appraisals, faults as callers see
them, and recovery without a person."""

import json
import os
import signal
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import httpx
import polars as pl
import pytest

from pricing.api.client import Client, ProblemError
from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.record.record import plain_record
from pricing.store.market import Market
from pricing.store.transfer import copy_market
from tests.api.servers import PATIENCE, copied, killable, serving
from tests.api.test_routes import SALE
from tests.appraisals import full_record, last_day, pdf_text
from tests.postgres_server import PostgresServer
from tests.relay import relayed
from tests.small_market import common_car

Facts = dict[str, Any]


@pytest.fixture
def shared(
    small_market: Market, postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> str:
    """The address of a copy of the small market on the server, for programs of one machine."""
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "here"))
    address = postgres.database()
    copy_market(small_market.path, address)
    return address


@pytest.fixture
def served(shared: str) -> Iterator[str]:
    with serving(shared) as found:
        yield found


def on_another_machine(shared: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Market:
    """The market as a program elsewhere has it, with a copy of its own."""
    with monkeypatch.context() as there:
        there.setenv("PRICING_COPIES", str(folder / "there"))
        return Market.open(shared)


def test_everything_is_answered_as_from_a_file(
    small_market: Market, served: str, client: Client, tmp_path: Path
) -> None:
    car = {**common_car(small_market), "asking": 5150}
    (tmp_path / "notes.csv").write_text(SALE)
    with Client(served, seconds=PATIENCE) as shared:
        for ask in (
            lambda it: it.market(), lambda it: it.value(car), lambda it: it.standing(car),
            lambda it: it.contributions(car), lambda it: it.comparables(common_car(small_market), count=5),
            lambda it: it.index(period="year"), lambda it: it.depth(make=car["make"]),
        ):  # fmt: skip
            assert ask(shared) == ask(client)
        report = shared.load([tmp_path / "notes.csv"], key="load-2024-05")
        assert (report["accepted"], report["rejected"]) == (1, 1)
        assert shared.load([tmp_path / "notes.csv"], key="load-2024-05") == report
        made = shared.fit(key="nightly-1")
        assert made["fit_id"] == "fit-0002" and shared.fit(key="nightly-1") == made
        assert shared.undo(report["batch_id"])["records"] == 1


def test_an_appraisal_is_entered_changed_completed_listed_and_written(
    small_market: Market, shared: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = on_another_machine(shared, tmp_path, monkeypatch)
    _, token = there.tokens.new("the valuer", "appraise")
    record = plain_record(full_record(common_car(small_market), last_day(small_market)))
    with serving(shared, access="tokens") as address, Client(address, token, PATIENCE) as mine:
        sent = json.loads(json.dumps(record, default=str))
        entered = mine.enter_appraisal(sent, key="first-appraisal")
        name = entered["appraisal_id"]
        assert (entered["revision"], entered["missing"]) == (1, [])
        assert mine.enter_appraisal(sent, key="first-appraisal") == entered

        def edit(client: str) -> Facts | int:
            try:
                return mine.change_appraisal(name, {"assignment.client": client}, after=1)
            except ProblemError as refused:
                return refused.status

        with ThreadPoolExecutor(2) as hands:
            done = list(hands.map(edit, ("Client One", "Client Two")))
        assert done.count(409) == 1, "one of two hands at once is refused"
        (kept,) = (answer for answer in done if isinstance(answer, dict))
        assert kept["revision"] == 2 and mine.appraisal(name) == kept
        completed = mine.complete_appraisal(name, "Valuer Phi", dict.fromkeys(CERTIFICATION, "so"), after=2)
        assert completed["completed"]
        (listed,) = mine.items("appraisals")
        assert (listed["appraisal_id"], listed["revision"], listed["completed"]) == (name, 3, True)
        text = pdf_text(mine.document(name, "letter.pdf"))
        assert kept["record"]["assignment"]["client"] in text and "Draft" not in text
        assert mine.document(name, "letter.docx").startswith(b"PK")
        with monkeypatch.context() as elsewhere:
            elsewhere.setenv("PRICING_COPIES", str(tmp_path / "there"))
            from pricing.appraisal.register import read

            assert read(there, name).record.completed, "another machine sees it"


@pytest.mark.soak
def test_a_token_revoked_on_another_machine_opens_nothing(
    shared: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = on_another_machine(shared, tmp_path, monkeypatch)
    token_id, token = there.tokens.new("valuation desk", "read")
    with serving(shared, access="tokens") as address, Client(address, token) as client:
        assert client.market()["base_currency"] == "EUR"
        there.tokens.revoke(token_id)
        deadline, status = time.monotonic() + 30, 200
        while status != 401 and time.monotonic() < deadline:
            try:
                client.market()
            except ProblemError as refused:
                status = refused.status
            time.sleep(0.1)
    assert status == 401


def test_while_the_server_is_away_values_go_on_and_writes_are_told_when_to_come_back(
    small_market: Market, served: str, postgres: PostgresServer, tmp_path: Path
) -> None:
    car = common_car(small_market)
    (tmp_path / "notes.csv").write_text(SALE)
    with Client(served, seconds=PATIENCE) as client:
        before = client.value(car)
        postgres.stop()
        try:
            assert client.value(car) == before
            assert len(list(client.items("batches"))) == 1
            for path, sent in (
                ("/batches", {"files": {"files": ("notes.csv", SALE.encode())}}), ("/fits", {}),
                ("/appraisals", {"json": {"record": {"subject": {"make": "make 4"}}}}),
            ):  # fmt: skip
                answer = httpx.post(
                    f"{served}/api/v1{path}",
                    headers={"Idempotency-Key": f"away-{path[1:]}-1"},
                    timeout=PATIENCE,
                    **sent,
                )
                assert answer.status_code == 503, answer.text
                assert answer.headers["content-type"] == "application/problem+json"
                assert (
                    int(answer.headers["retry-after"]) > 0 and "cannot be reached" in answer.json()["detail"]
                )
        finally:
            postgres.start()
        assert client.load([tmp_path / "notes.csv"], key="away-batches-1")["accepted"] == 1
        assert client.value(car) == before


def lots(folder: Path, writer: int, count: int) -> list[Path]:
    """Files of three rows each that no other has."""
    head, row = SALE.splitlines()[:2]
    made = []
    for number in range(count):
        path = folder / f"writer{writer}-{number}.csv"
        rows = [row.replace("4250", str(4000 + 100 * place)) for place in range(3)]
        path.write_text("\n".join([head, *rows]) + "\n")
        made.append(path)
    return made


@pytest.mark.parametrize("faults", [
    ("cut", "crash"),
    pytest.param(("cut", "restart", "cut", "crash") * 5, marks=pytest.mark.soak, id="twenty"),
])  # fmt: skip
def test_a_restart_and_cut_sessions_under_load_lose_nothing_that_was_acknowledged(
    small_market: Market, served: str, postgres: PostgresServer, shared: str, tmp_path: Path,
    faults: tuple[str, ...],
) -> None:  # fmt: skip
    car = common_car(small_market)
    stop = threading.Event()
    acknowledged: list[tuple[str, Facts]] = []
    wrong: list[str] = []
    files = [lots(tmp_path, writer, 200) for writer in range(3)]

    def write(writer: int) -> None:
        for place, path in enumerate(files[writer]):
            asked = {"Idempotency-Key": f"writer-{writer}-{place:04d}"}
            while True:
                sent = {"files": (path.name, path.read_bytes())}
                answer = httpx.post(f"{served}/api/v1/batches", headers=asked, files=sent, timeout=PATIENCE)
                if answer.is_success:
                    acknowledged.append((path.name, answer.json()))
                    break
                if answer.headers["content-type"] != "application/problem+json" or (
                    answer.status_code not in (409, 503)
                ):
                    wrong.append(answer.text)
                    return
                time.sleep(0.1)
            if stop.is_set():
                return

    def read() -> None:
        with Client(served, seconds=PATIENCE) as client:
            expected = client.value(car)
            while not stop.is_set():
                if client.value(car) != expected:
                    wrong.append("another value")
                time.sleep(0.05)

    working = [threading.Thread(target=write, args=(writer,)) for writer in range(3)]
    working.append(threading.Thread(target=read))
    for thread in working:
        thread.start()
    for fault in faults:
        done = len(acknowledged)
        deadline = time.monotonic() + PATIENCE
        while len(acknowledged) < done + 3 and time.monotonic() < deadline:
            time.sleep(0.02)
        if fault == "cut":
            postgres.cut_sessions()
        else:
            postgres.restart("fast" if fault == "restart" else "immediate")
    done, deadline = len(acknowledged), time.monotonic() + PATIENCE
    while len(acknowledged) < done + 3 and time.monotonic() < deadline:
        time.sleep(0.02)
    stop.set()
    for thread in working:
        thread.join(PATIENCE)
    assert not wrong
    assert len(acknowledged) >= 3 * (len(faults) + 1), "it went on after each fault, without a person"
    assert all((report["accepted"], report["known"]) == (3, 0) for _, report in acknowledged)
    market = Market.open(shared)
    held = market.sales(every_record=True).filter(pl.col("source").str.starts_with("writer"))
    counted = dict(held.group_by("source").len().iter_rows())
    assert counted == {name.removesuffix(".csv"): 3 for name, _ in acknowledged}
    batches = market.batches().filter(pl.col("files").list.first().str.starts_with("writer"))
    assert sorted(batches["batch_id"]) == sorted(report["batch_id"] for _, report in acknowledged)


@pytest.mark.soak
def test_two_machines_that_get_a_key_at_once_do_the_work_once(shared: str, tmp_path: Path) -> None:
    with (
        killable(shared, PRICING_COPIES=str(tmp_path / "one")) as (one, _),
        killable(shared, PRICING_COPIES=str(tmp_path / "two")) as (two, _),
    ):
        for address in (one, two):
            assert httpx.get(f"{address}/ready", timeout=PATIENCE).is_success

        def ask(address: str) -> httpx.Response:
            return httpx.post(
                f"{address}/api/v1/fits", headers={"Idempotency-Key": "nightly-1"}, timeout=PATIENCE
            )

        with ThreadPoolExecutor(4) as hands:
            answers = list(hands.map(ask, (one, two, one, two)))
        assert {answer.status_code for answer in answers} <= {201, 409}
        done = [answer for answer in answers if answer.is_success]
        again = [ask(one), ask(two)]
    assert sum("idempotency-replayed" not in answer.headers for answer in done) == 1
    assert all("idempotency-replayed" in answer.headers for answer in again)
    assert len({answer.content for answer in (*done, *again)}) == 1
    assert Market.open(shared).fits()["fit_id"].to_list() == ["fit-0001", "fit-0002"]


@pytest.mark.soak
def test_of_three_servers_one_that_loses_its_connection_goes_on_from_its_copy_and_catches_up(
    small_market: Market, shared: str, postgres: PostgresServer, tmp_path: Path
) -> None:
    """Each as on a machine of its own; the third reaches PostgreSQL by a wire that is cut and mended."""
    car = common_car(small_market)
    with (
        ExitStack() as opened,
        TemporaryDirectory(prefix="pricing-wire-") as short,  # a socket's path has at most 107 characters
        relayed(Path(short) / "wire", postgres.folder) as wire,
        killable(shared, PRICING_COPIES=str(tmp_path / "one")) as (one, _),
        killable(shared, PRICING_COPIES=str(tmp_path / "two")) as (two, _),
        killable(
            shared.replace(str(postgres.folder), str(wire.folder)), PRICING_COPIES=str(tmp_path / "three")
        ) as (three, _),
    ):  # fmt: skip
        servers = [opened.enter_context(Client(address, seconds=PATIENCE)) for address in (one, two, three)]
        first, second, cut = servers
        before = first.value(car)

        def load(address: str, lot: Path) -> httpx.Response:
            return httpx.post(
                f"{address}/api/v1/batches", headers={"Idempotency-Key": f"load-{lot.stem}"},
                files={"files": (lot.name, lot.read_bytes())}, timeout=PATIENCE,
            )  # fmt: skip

        def loads(server: Client) -> list[str]:
            return [batch["batch_id"] for batch in server.items("batches")]

        def agreed(servers: Sequence[Client], count: int) -> bool:
            deadline = time.monotonic() + PATIENCE
            while time.monotonic() < deadline:
                seen = [loads(server) for server in servers]
                if len(seen[0]) == count and all(other == seen[0] for other in seen):
                    return True
                time.sleep(0.2)
            return False

        assert agreed(servers, 1) and all(server.value(car) == before for server in servers)
        mine, theirs, later = lots(tmp_path, 0, 3)
        wire.cut()
        refused = load(three, theirs)
        assert refused.status_code == 503 and int(refused.headers["retry-after"]) > 0, refused.text
        assert load(one, mine).json()["accepted"] == 3
        assert agreed([first, second], 2), "the others go on together"
        assert cut.value(car) == before and len(loads(cut)) == 1, "it answers from its copy"
        wire.mend()
        assert agreed(servers, 2), "it catches up without a person"
        assert load(three, theirs).json()["accepted"] == 3, "the same load, asked again"
        assert load(two, later).json()["accepted"] == 3
        assert agreed(servers, 4)
        assert len({json.dumps(server.market(), sort_keys=True) for server in servers}) == 1
    held = Market.open(shared).sales(every_record=True).filter(pl.col("source").str.starts_with("writer"))
    assert held.group_by("source").len()["len"].to_list() == [3, 3, 3], "no row lost, none twice"


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def die_after_the_work() -> None:
    """Let the process be killed once a fit or an appraisal is stored, before it is answered."""
    from pricing.store.kept.appraisals import Appraisals, Draft

    store_fit, keep = Market.store_fit, Appraisals.keep

    def fit_and_die(self: Market, payload: bytes, facts: Facts) -> str:
        store_fit(self, payload, facts)
        die()
        return ""

    def appraise_and_die(self: Appraisals, drafts: Sequence[Draft]) -> list[tuple[str, int]]:
        keep(self, drafts)
        die()
        return []

    Market.store_fit = fit_and_die  # type: ignore[method-assign]
    Appraisals.keep = appraise_and_die  # type: ignore[method-assign]


@pytest.mark.parametrize(("path", "content", "listed"), [
    ("fits", None, ["fit-0001", "fit-0002"]),
    ("appraisals", {"record": {"subject": {"make": "make 4"}}}, ["appraisal-0001"]),
])  # fmt: skip
def test_a_server_killed_between_the_work_and_its_answer_does_it_once(
    small_market: Market, tmp_path: Path, path: str, content: Facts | None, listed: list[str]
) -> None:
    key, own = {"Idempotency-Key": "the-one-piece-of-work"}, copied(small_market, tmp_path).path
    with killable(own, die_after_the_work) as (address, killed):
        with pytest.raises(httpx.TransportError):
            httpx.post(f"{address}/api/v1/{path}", headers=key, json=content, timeout=PATIENCE)
        killed.join(PATIENCE)
        assert killed.exitcode == -signal.SIGKILL
    with serving(own) as address, Client(address, seconds=PATIENCE) as client:
        answers = [
            httpx.post(f"{address}/api/v1/{path}", headers=key, json=content, timeout=PATIENCE)
            for _ in range(2)
        ]
        assert [answer.status_code for answer in answers] == [201, 201], answers[0].text
        assert answers[0].content == answers[1].content
        assert all(answer.headers["idempotency-replayed"] for answer in answers)
        found = [
            next(value for name, value in row.items() if name.endswith("_id")) for row in client.items(path)
        ]
    assert found == listed
