"""One snapshot of a market for pages, API and decisions: what it holds is what the store gives, once."""

import gzip
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import evidence_of
from pricing.decisions.valuation import value_car
from pricing.errors import MarketError
from pricing.memo import Memo
from pricing.model.features.spec import FeatureSpec
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.snapshot import Snapshot
from pricing.snapshot_source import LOOK_SECONDS, SnapshotSource, source_of
from pricing.store.connection import connection
from pricing.store.market import Market
from tests.api.servers import copied
from tests.small_market import common_car, write_sales


@pytest.fixture
def market(small_market: Market, tmp_path: Path) -> Market:
    return copied(small_market, tmp_path)


def test_decisions_never_read_the_store(market: Market) -> None:
    snapshot = Snapshot.of(market)
    car = snapshot.car({**common_car(market), "channel": "private"})
    evidence = evidence_of(snapshot)
    _ = snapshot.links
    market.path.unlink()
    value_car(snapshot, snapshot.model, car)
    buy_car(snapshot, snapshot.model, car, BuyerTerms(snapshot.base_currency, 0.7), asking=Decimal(4000))
    sell_car(snapshot, snapshot.model, car, SellerTerms(snapshot.base_currency), evidence=evidence)
    assert evidence_of(snapshot) is evidence
    with pytest.raises(MarketError):
        market.sales()


def test_the_sales_of_a_day_are_those_of_the_store(demo_market: Market) -> None:
    """Also where a record stands behind one that was not known by that day."""
    snapshot = Snapshot.of(demo_market)
    later = (
        demo_market.duplicates()
        .join(snapshot.sales(every_record=True).select("record_id", "event_date"), on="record_id")
        .filter(pl.col("primary_id") != pl.col("record_id"))
    )
    days: list[Any] = [later["event_date"].min(), later["event_date"].median(), later["event_date"].max()]
    for day in [*(day if type(day) is date else day.date() for day in days), date(1990, 1, 1)]:
        for every in (False, True):
            assert_frame_equal(
                snapshot.sales(day, every_record=every), demo_market.sales(day, every_record=every)
            )
    behind = snapshot.sales(days[0]).join(snapshot.sales(), on="record_id", how="anti")
    assert behind.height, "no record of these days stands behind a later one"
    assert_frame_equal(snapshot.sales(), demo_market.sales())


def test_who_writes_sees_it_at_once_and_all_share_what_stayed(market: Market) -> None:
    source = source_of(market.path)
    before = source.newest()
    sales, model = before.sales(), before.model
    assert source_of(str(market.path)).newest() is before
    market.settle_name("make", before.counts["make"][0], "Quillon")
    after = source.newest()
    assert "Quillon" in after.sales()["make"] and "Quillon" not in before.sales()["make"]
    assert after.model is model and before.sales() is sales


ANOTHER = """
import sys
from pricing.store.market import Market

market = Market.open(sys.argv[1])
market.rebase("SEK") if sys.argv[2] == "rebase" else market.tokens.new("desk", "read")
"""


def elsewhere(market: Market, work: str) -> None:
    subprocess.run([sys.executable, "-c", ANOTHER, str(market.path), work], check=True)


def test_what_another_process_writes_is_seen_soon(market: Market) -> None:
    source = SnapshotSource(str(market.path))
    first = source.newest()
    elsewhere(market, "token")
    time.sleep(LOOK_SECONDS)
    second = source.newest()
    assert second.by_records is first.by_records and second.by_write is not first.by_write
    assert [token.name for token in second.state.tokens.values()] == ["desk"]
    elsewhere(market, "rebase")
    time.sleep(LOOK_SECONDS)
    third = source.newest()
    assert third.base_currency == "SEK" and third.state.fit is None
    with pytest.raises(MarketError, match="no fitted model"):
        _ = third.model


def test_while_it_is_written_to_the_market_is_as_it_was(market: Market) -> None:
    source = SnapshotSource(str(market.path))
    before = source.newest()
    _ = before.sales()
    with connection(market.path, write=True):
        market.path.touch()
        time.sleep(LOOK_SECONDS)
        started = time.monotonic()
        assert source.newest() is before
        assert time.monotonic() - started < 5.0


def test_a_market_that_is_gone_is_refused(market: Market) -> None:
    source = SnapshotSource(str(market.path))
    source.newest()
    market.path.unlink()
    time.sleep(LOOK_SECONDS)
    with pytest.raises(MarketError):
        source.newest()


def test_what_many_ask_for_at_once_is_made_once() -> None:
    memo, made, release = Memo(), [], threading.Event()

    def slow() -> int:
        release.wait(10)
        made.append(1)
        return 7

    answers: list[int] = []
    threads = [threading.Thread(target=lambda: answers.append(memo.get("slow", slow))) for _ in range(8)]
    for thread in threads:
        thread.start()
    assert memo.get("quick", lambda: 1) == 1, "one that is slow keeps nobody else waiting"
    release.set()
    for thread in threads:
        thread.join()
    assert answers == [7] * 8 and made == [1]


def test_nothing_is_a_value_and_an_error_is_none() -> None:
    memo, tries = Memo(), []

    def nothing() -> None:
        tries.append(1)

    def fails() -> None:
        raise MarketError("away")

    for _ in range(2):
        assert memo.get("nothing", nothing) is None
        with pytest.raises(MarketError):
            memo.get("fails", fails)
    assert tries == [1] and memo.get("fails", lambda: 5) == 5


def test_only_the_newest_answers_of_a_kind_are_kept() -> None:
    memo = Memo()
    memo.get(("other", 0), lambda: 0)
    for place in range(5):
        memo.get(("index", place), lambda place=place: place, most=2)  # type: ignore[misc]
    kept: Iterator[int] = (place for place in range(5) if ("index", place) in memo)
    assert list(kept) == [3, 4] and ("other", 0) in memo


def test_a_day_after_the_last_is_the_whole(small_market: Market) -> None:
    snapshot = Snapshot.of(small_market)
    last: Any = snapshot.sales()["event_date"].max()
    assert snapshot.sales(last + timedelta(days=1)).height == snapshot.sales().height
    assert snapshot.names(last) is snapshot.names()


def replaced(path: Path, make: Callable[[Path], object]) -> None:
    """Put something else in the place of a market's file, as a rename or a new link does."""
    new = path.with_name("new.duckdb")
    make(new)
    if new.is_dir():
        path.unlink()
    new.rename(path)
    time.sleep(LOOK_SECONDS)


def of_another_kind(path: Path) -> None:
    with duckdb.connect(str(path)) as opened:
        opened.execute("CREATE TABLE notes (line INTEGER)")


def of_version_two(path: Path) -> None:
    path.write_bytes(
        gzip.decompress((Path(__file__).parent / "store/market_version_2.duckdb.gz").read_bytes())
    )


NO_MARKETS: dict[str, Callable[[Path], object]] = {
    "another database": of_another_kind,
    "noise": lambda path: path.write_bytes(bytes(range(256)) * 4096),
    "nothing": Path.touch,
    "a pipe": os.mkfifo,
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "a link to nothing": lambda path: path.symlink_to("none.duckdb"),
    "a folder": Path.mkdir,
}
"""What may come to stand in the place of a market's file while it is served."""


@pytest.mark.parametrize("what", NO_MARKETS)
def test_what_is_no_market_any_more_is_refused_and_told_again_once_it_is(market: Market, what: str) -> None:
    source, kept = SnapshotSource(str(market.path)), market.path.with_name("kept.duckdb")
    before = source.newest().sales()
    shutil.copy(market.path, kept)
    replaced(market.path, NO_MARKETS[what])
    for ask in (source.newest, lambda: Market.open(market.path, create=False)):
        with pytest.raises(MarketError, match="no file|no DuckDB|another kind|cannot be opened|exist"):
            ask()
    if market.path.is_dir():
        market.path.rmdir()
    kept.replace(market.path)
    time.sleep(LOOK_SECONDS)
    assert_frame_equal(source.newest().sales(), before)


def test_another_market_in_the_place_of_one_is_answered_from_with_its_own_fits(
    market: Market, tmp_path: Path
) -> None:
    """A fit of the same id in another file, or in a link to one, is another fit."""
    source = SnapshotSource(str(market.path))
    ours = source.newest()
    assert not isinstance(ours.model, OpinionBands) and ours.state.fit == "fit-0001"
    sales = ours.sales().height
    other = Market.open(tmp_path / "other.duckdb", base_currency=market.base_currency)
    write_sales(tmp_path / "fewer.parquet", 300)
    other.load([tmp_path / "fewer.parquet"])
    save(PriceModel(FeatureSpec.cars()).fit(other.sales()), other)
    replaced(market.path, lambda path: path.symlink_to(other.path))
    theirs = source.newest()
    assert theirs.state.fit == "fit-0001" and theirs.sales().height < sales
    assert theirs.model.facts["sales"] < ours.model.facts["sales"]


def test_a_market_of_other_money_or_of_an_earlier_version_is_taken_up_as_it_is(
    market: Market, tmp_path: Path
) -> None:
    source = SnapshotSource(str(market.path))
    source.newest()
    replaced(market.path, lambda path: Market.open(path, base_currency="GBP"))
    pounds = source.newest()
    assert pounds.base_currency == pounds.market.base_currency == "GBP" and pounds.sales().is_empty()
    replaced(market.path, of_version_two)
    earlier = source.newest()
    assert earlier.base_currency == earlier.market.base_currency and earlier.sales().height > 0
