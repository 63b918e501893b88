"""A clock that is set back a day: nothing that was acknowledged is lost, and what came later stays later."""

import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import pytest

from pricing.api.client import Client
from pricing.operations.backups import back_up, restore
from pricing.store import audit as store_audit
from pricing.store.kept.appraisals import Draft
from pricing.store.market import Market
from tests.api.servers import copied, serving
from tests.store.test_market import write

Shift = Callable[[timedelta], None]
DAY = timedelta(days=1)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Shift:
    """Sets the clock of the store by so much."""
    by = [timedelta(0)]

    class Moved(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> "Moved":
            true = datetime.now(tz) + by[0]
            return cls.fromtimestamp(true.timestamp(), tz)

    monkeypatch.setattr(store_audit, "datetime", Moved)

    def shift(of: timedelta) -> None:
        by[0] += of

    return shift


@pytest.fixture(params=["file", "server"])
def market(request: pytest.FixtureRequest, tmp_path: Path) -> Market:
    if request.param == "file":
        return Market.open(tmp_path / "market.duckdb")
    opened: Market = request.getfixturevalue("desk")("here")
    return opened


def rows(folder: Path, name: str, **cells: str) -> Path:
    return write(folder / f"{name}.csv", cells)


def test_what_came_later_stays_later(market: Market, clock: Shift, tmp_path: Path) -> None:
    market.load([rows(tmp_path, "first", amount="4000")])
    market.store_fit(b"first", {"rows": 1})
    market.keep_settings({"country": "GB"})
    market.choices.keep("car", [("a", "leave out", None, None, "wrong car")])
    ((name, _),) = market.appraisals.keep([Draft('{"a": 1}', None, None, "anna", "first")])
    assert not market.state().stale
    before = market.state()
    clock(-DAY)
    market.load([rows(tmp_path, "second", amount="5000")])
    assert market.batches()["batch_id"].to_list() == ["batch-0001", "batch-0002"]
    after = market.state()
    assert after.records != before.records and after.stale, "the fit has not seen the second load"
    assert market.store_fit(b"second", {"rows": 2}) == "fit-0002"
    assert market.load_fit()[0] == b"second" and not market.state().stale
    market.keep_settings({"country": "IE"})
    assert market.state().settings == {"country": "IE"}
    market.choices.keep("car", [("a", "keep", None, None, "the right car")])
    assert market.choices.about("car")["reason"].to_list() == ["wrong car", "the right car"]
    market.appraisals.keep([Draft('{"a": 2}', None, None, "anna", "again", (), name, 1)])
    assert market.appraisals.revision(name).record == '{"a": 2}'
    assert market.appraisals.last_revisions()["revision"].to_list() == [2]
    assert market.undo("batch-0002") == 1 and market.state().stale
    assert market.sales()["amount"].to_list() == [4000]


def test_a_sale_of_the_day_that_the_clock_has_not_reached_waits_and_comes_in_later(
    market: Market, clock: Shift, tmp_path: Path
) -> None:
    today = datetime.now(UTC).date().isoformat()
    sale = rows(tmp_path, "today", event_date=today, currency="EUR")
    clock(-DAY)
    assert market.load([sale]).by_rule == {"event_date_in_future": 1}
    clock(DAY)
    assert market.load([sale]).accepted == 1
    assert market.quarantine().is_empty() and market.sales().height == 1


def test_tokens_stay_in_force_and_what_was_revoked_stays_so(market: Market, clock: Shift) -> None:
    kept, token = market.tokens.new("valuation desk", "read", days=1)
    gone, _ = market.tokens.new("old desk", "read")
    market.tokens.revoke(gone)
    clock(-DAY)
    assert [found.token_id for found in market.state().tokens.values()] == [kept]
    market.tokens.revoke(kept)
    assert market.state().tokens == {}


def test_a_backup_is_another_and_both_restore(clock: Shift, tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    market.load([rows(tmp_path, "first", amount="4000")])
    (tmp_path / "kept").mkdir()
    first = back_up(market.path, tmp_path / "kept")
    clock(-DAY)
    market.load([rows(tmp_path, "second", amount="5000")])
    second = back_up(market.path, tmp_path / "kept")
    assert first.path != second.path
    for made in (first, second):
        brought = restore(made.path, market.path)
        assert market.digest() == made.digest and brought.kept is not None
        clock(-timedelta(seconds=5))


def test_a_key_is_answered_as_before(small_market: Market, clock: Shift, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    first, second = rows(tmp_path, "first", amount="4000"), rows(tmp_path, "second", amount="5000")
    with serving(own.path) as address, Client(address) as client:
        report = client.load([first], key="the-first-load")
        clock(-DAY)
        assert client.load([first], key="the-first-load") == report
        assert client.load([second], key="the-second-load")["batch_id"] == "batch-0003"
        assert [row["batch_id"] for row in client.items("batches")] == [
            "batch-0001", "batch-0002", "batch-0003",
        ]  # fmt: skip
        assert client.market()["stale"] and client.market()["batches"] == 3


@pytest.mark.parametrize("year", [1971, 2150])
def test_a_backup_can_be_made_and_restored_under_any_clock(
    small_market: Market, tmp_path: Path, year: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A ZIP archive knows the years 1980 to 2107 (PKWARE APPNOTE, 4.4.6)."""
    own = copied(small_market, tmp_path)
    seconds = datetime(year, 6, 1, tzinfo=UTC).timestamp()
    monkeypatch.setattr("time.time", lambda: seconds)
    os.utime(own.path, (seconds, seconds))
    back_up(own.path, tmp_path / "a.zip")
    restore(tmp_path / "a.zip", tmp_path / "restored.duckdb")
    assert Market.open(tmp_path / "restored.duckdb", create=False).digest() == own.digest()
