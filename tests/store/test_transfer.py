"""A whole market from file to server and back: everything arrives, or nothing."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pricing.errors import MarketError
from pricing.store.connection import connection, run
from pricing.store.kept.appraisals import Draft
from pricing.store.market import Market
from pricing.store.transfer import copy_market
from tests.store.postgres.test_copy import contents
from tests.store.test_market import TODAY, write


@pytest.fixture
def market(tmp_path: Path) -> Market:
    """A market file with something in every room of it."""
    market = Market.open(tmp_path / "first.duckdb", base_currency="GBP")
    car = {"chassis_number": "CX1968"}
    rows = [car | {"amount": "4000"}, car | {"amount": "4000", "channel": "dealer"}, {"amount": "-1"},
            {"notes": "a\tb\\\n\"'"}]  # fmt: skip
    market.load([write(tmp_path / "notes.csv", *rows)], today=TODAY)
    market.load([write(tmp_path / "more.csv", {"amount": "7000"})], today=TODAY)
    market.undo("batch-0002")
    market.settle_name("make", "Corvan", "Corvane")
    market.store_fit(bytes(range(256)), {"rows": 3})
    market.keep_settings({"country": "I\0E"})
    market.appraisals.keep([Draft("{}", "{}", "d1", "anna", "first")])
    return market


def test_file_to_server_and_back_is_the_same_market(
    market: Market, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "copies"))
    told: list[tuple[str, int, int]] = []
    there = copy_market(market.path, address, progress=lambda *call: told.append(call))
    assert told == sorted(told) and told[-1] == ("copy", there.rows, there.rows)
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "others"))
    back = copy_market(address, tmp_path / "back.duckdb")
    assert there == back and back.digest == market.digest()
    again = Market.open(tmp_path / "back.duckdb")
    assert contents(again.path) == contents(market.path)
    assert again.base_currency == Market.open(address).base_currency == "GBP"
    again.keep_settings({"country": "FR"})
    assert again.load([tmp_path / "notes.csv"], today=TODAY).known == 4


def test_a_market_is_not_copied_over_another(
    market: Market, desk: Callable[[str], Market], address: str, tmp_path: Path
) -> None:
    desk("here")
    before = contents(market.path)
    with pytest.raises(MarketError, match="cars.* holds a market already"):
        copy_market(market.path, address)
    with pytest.raises(MarketError, match="first.duckdb holds a market already"):
        copy_market(address, market.path)
    with pytest.raises(MarketError, match="absent.duckdb holds no market to copy"):
        copy_market(tmp_path / "absent.duckdb", tmp_path / "other.duckdb")
    assert contents(market.path) == before and desk("late").sales().is_empty()


def test_an_empty_database_is_no_market_to_copy(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "copies"))
    with pytest.raises(MarketError, match="holds no market to copy"):
        copy_market(address, tmp_path / "back.duckdb")
    assert not (tmp_path / "back.duckdb").exists()


def test_a_market_that_cannot_be_copied_leaves_an_empty_server(
    market: Market, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "copies"))
    with connection(market.path, write=True) as opened:
        run(opened, "CREATE TABLE zebra (stripes UTINYINT)")
    with pytest.raises(MarketError, match="stripes of table zebra is of type UTINYINT"):
        copy_market(market.path, address)
    with connection(market.path, write=True) as opened:
        run(opened, "DROP TABLE zebra")
    assert copy_market(market.path, address).digest == market.digest()
