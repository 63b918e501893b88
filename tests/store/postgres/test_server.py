"""The server's own tables: every version since the first is brought up to date, by one program, once."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest

from pricing.errors import MarketError
from pricing.store.market import Market
from pricing.store.postgres import copy as store_copy
from pricing.store.postgres import server as store_server
from pricing.store.postgres.server import MIGRATIONS, NO_ENTRY, Server
from tests.postgres_server import PostgresServer
from tests.store.test_market import TODAY, write

VERSIONS = sorted(Path(__file__).parent.glob("server_version_*.sql"))
"""Dumps of a market as each version of the program made it: two sales, one of them undone and loaded again,
a rejected row, a settled name, a fit."""

DIGEST = "19049533c530b39df7b42cada0e32b7b46f3c30fed7ffba9214bd99e96c7a9f3"
"""Of the records in these dumps, as ``Market.digest`` gave it when the first was made."""


def test_there_is_a_dump_of_every_version() -> None:
    assert [int(path.stem.rpartition("_")[2]) for path in VERSIONS] == list(range(1, len(MIGRATIONS) + 1))


@pytest.mark.parametrize("dump", VERSIONS, ids=lambda path: path.stem)
def test_a_market_of_every_version_opens_and_goes_on(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dump: Path
) -> None:
    address = postgres.database()
    with psycopg.connect(address, autocommit=True) as session:
        session.execute(dump.read_bytes())
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path))
    market = Market.open(address, create=False)
    assert market.digest() == DIGEST
    assert market.batches()["undone_at"].is_null().to_list() == [False, True]
    assert market.quarantine().height == 1
    assert market.load_fit() == (b"\0\\a fit", {"rows": 2})
    assert market.undo("batch-0002") == 2


def test_a_newer_step_is_taken_once_by_whoever_comes_first(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = postgres.database()
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "old"))
    old = Market.open(address)
    old.load([write(tmp_path / "notes.csv", {})], today=TODAY)
    before = old.digest()
    step = "CREATE TABLE pricing.remarks (remark text)"
    monkeypatch.setattr(store_server, "MIGRATIONS", (*MIGRATIONS, step))
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda _: Server(address).migrate(), range(8)))
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "new"))
    assert Market.open(address).digest() == before
    monkeypatch.setattr(store_server, "MIGRATIONS", MIGRATIONS)
    with pytest.raises(MarketError, match="of version 2; this program writes version 1"):
        old.sales()


def test_two_programs_that_come_first_make_one_market(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = postgres.database()
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path))
    monkeypatch.setattr(store_copy, "_SERVERS", {})
    with ThreadPoolExecutor(4) as pool:
        markets = list(pool.map(lambda currency: Market.open(address, base_currency=currency),
                                ("EUR", "GBP", "EUR", "GBP")))  # fmt: skip
    assert len({market.base_currency for market in markets}) == 1
    assert Server(address).head()[0] == 1


def test_an_empty_database_is_left_as_it_is_until_something_is_to_be_kept(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = postgres.database()
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path))
    with pytest.raises(MarketError, match="does not exist"):
        Market.open(address, create=False)
    assert Server(address).head() == NO_ENTRY
    with psycopg.connect(address) as session:
        assert session.execute("SELECT to_regnamespace('pricing')").fetchone() == (None,)


def test_a_database_of_another_encoding_is_refused(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    postgres.do("CREATE DATABASE latin ENCODING 'LATIN1' LOCALE 'C' TEMPLATE template0")
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path))
    with pytest.raises(MarketError, match="keeps text as LATIN1"):
        Market.open(postgres.address("latin"))
