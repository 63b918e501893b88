"""Taking turns to write: nothing acknowledged is lost when the server or a session is, nothing kept twice."""

import threading
import time
from collections.abc import Callable
from typing import Any

import psycopg
import pytest

from pricing.errors import MarketError
from pricing.store.connection import connection, run
from pricing.store.market import Market
from tests.postgres_server import PostgresServer
from tests.store.postgres.test_copy import contents


def test_a_write_waits_for_a_server_that_is_started_anew(
    postgres: PostgresServer, desk: Callable[[str], Market]
) -> None:
    market = desk("here")
    postgres.restart()
    assert market.sales().is_empty()
    with connection(market.path, write=True) as opened:
        run(opened, "INSERT INTO mappings VALUES ('hall', '')")
        postgres.restart("immediate")
    with connection(market.path, write=True) as opened:
        run(opened, "INSERT INTO mappings VALUES ('yard', '')")
        postgres.cut_sessions()
    assert len(contents(desk("there").path)["mappings"]) == 2


def test_a_writer_that_lost_its_turn_to_another_changes_nothing(
    postgres: PostgresServer, desk: Callable[[str], Market]
) -> None:
    here, there = desk("here"), desk("there")
    with pytest.raises(MarketError, match="another program wrote meanwhile"):
        with connection(here.path, write=True) as opened:
            run(opened, "INSERT INTO mappings VALUES ('hall', '')")
            postgres.cut_sessions()
            there.keep_settings({"country": "IE"})
    assert contents(here.path) == contents(there.path)
    assert contents(here.path)["mappings"] == []


def test_a_commit_whose_answer_was_lost_is_kept_once(
    postgres: PostgresServer, desk: Callable[[str], Market], monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    market = desk("here")
    commit = psycopg.Connection.commit
    lost: list[bool] = []

    def commit_and_lose(session: psycopg.Connection[Any]) -> None:
        commit(session)
        if not lost:
            lost.append(True)
            session.close()
            raise psycopg.OperationalError("the connection is lost")

    monkeypatch.setattr(psycopg.Connection, "commit", commit_and_lose)
    market.keep_settings({"country": "IE"})
    assert lost and market.state().settings == {"country": "IE"}
    with psycopg.connect(address) as session:
        assert session.execute("SELECT number FROM pricing.entries ORDER BY 1").fetchall() == [(1,), (2,)]


@pytest.mark.soak
def test_a_writer_that_lost_its_turn_does_not_wait_for_one_that_waits_for_it(
    postgres: PostgresServer, address: str, desk: Callable[[str], Market]
) -> None:
    market = desk("here")
    done: list[str] = []

    def second() -> None:
        market.keep_settings({"country": "FR"})
        done.append("second")

    other = threading.Thread(target=second)
    began = time.monotonic()
    with pytest.raises(MarketError, match="do it again"), connection(market.path, write=True) as opened:
        run(opened, "INSERT INTO aliases (field, typed, name) VALUES ('make', 'Corvan', 'Corvane')")
        postgres.cut_sessions()
        other.start()
        taken = "SELECT 1 FROM pg_locks WHERE locktype = 'advisory' AND granted"
        while not postgres.do(taken) and time.monotonic() < began + 30:
            time.sleep(0.02)
    other.join(60)
    assert done == ["second"] and time.monotonic() - began < 30
    assert market.state().settings == {"country": "FR"} and market.names().is_empty()
