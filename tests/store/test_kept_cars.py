"""Cars that people keep: kept, changed, priced, sold into a record, exported, deleted for good."""

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from pricing.decisions.kept_car import PARTS, KeptCarToday, facts_seen, kept_car_today
from pricing.errors import MarketError
from pricing.operations.kept_cars import exported, record_sale
from pricing.snapshot import Snapshot
from pricing.snapshot_source import source_of
from pricing.store.market import Market
from pricing.words.kept_cars import change_sentence, comparison
from tests.cars import car_of
from tests.small_market import common_car


@pytest.fixture
def market(small_market: Market, tmp_path: Path) -> Market:
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    return Market.open(copy)


def kept(market: Market, name: str = "green", **said: Any) -> str:
    car = car_of(market, common_car(market) | said)
    return market.kept_cars.keep(name, car.to_dict(), "sills welded")


def test_a_car_is_kept_and_goes_for_good(market: Market) -> None:
    car_id = kept(market)
    with pytest.raises(MarketError, match="already"):
        kept(market, "GREEN")
    with pytest.raises(MarketError, match="needs a name"):
        kept(market, " ")
    market.kept_cars.note_price(car_id, Decimal(5000), "EUR", date(2026, 5, 1))
    market.kept_cars.note_price(car_id, Decimal(4800), "EUR", date(2026, 5, 1))
    market.kept_cars.note_price(car_id, Decimal(4600), "GBP", date(2026, 6, 1))
    assert market.kept_cars.prices(car_id)["amount"].to_list() == [4800, 4600]
    assert [market.kept_cars.add_photo(car_id, content) for content in (b"one", b"two")] == [1, 2]
    market.kept_cars.delete_photo(car_id, 2)
    assert market.kept_cars.photo(car_id, 1) == b"one"
    with pytest.raises(MarketError, match="no photograph 2"):
        market.kept_cars.delete_photo(car_id, 2)
    market.kept_cars.change(car_id, name="blue", notes="")
    assert market.kept_cars.one("Blue").notes == ""
    (copy,) = exported(market)
    assert (copy["name"], len(copy["prices"]), copy["photos"]) == ("blue", 2, [1])
    market.kept_cars.delete(car_id)
    assert exported(market) == [] and market.kept_cars.prices().is_empty()
    assert market.kept_cars.photo_numbers(car_id) == []
    with pytest.raises(MarketError, match="no car is kept"):
        market.kept_cars.delete(car_id)


def today_of(snapshot: Snapshot, market: Market, name: str) -> KeptCarToday:
    car = market.kept_cars.one(name)
    return kept_car_today(snapshot, car, market.kept_cars.prices(car.car_id))


def test_today_is_the_valuation_and_the_parts_of_a_change_multiply_to_it(market: Market) -> None:
    kept(market)
    snapshot = source_of(market.path).newest()
    today = today_of(snapshot, market, "green")
    assert today.change is None and today.valuation is not None and today.valuation.mid is not None
    market.kept_cars.look(today.kept.car_id, facts_seen(today.valuation) or {})
    again = today_of(snapshot, market, "green")
    assert again.change is not None and again.change.factor == pytest.approx(1.0)
    assert "Nothing moved" in change_sentence(again.change, "EUR")
    better = dict(today.kept.car) | {"condition_band": "top condition", "options": []}
    market.kept_cars.change(today.kept.car_id, car=better)
    moved = today_of(snapshot, market, "green")
    assert moved.change is not None and moved.valuation is not None and moved.valuation.mid is not None
    whole = float(moved.valuation.mid) / float(today.valuation.mid)
    product = 1.0
    for part in PARTS:
        product *= moved.change.parts[part]
    assert moved.change.factor == pytest.approx(whole) == pytest.approx(product)
    assert moved.change.parts["condition"] > 1.0
    assert "its condition" in change_sentence(moved.change, "EUR")


def test_cars_side_by_side_say_in_what_they_differ(market: Market) -> None:
    kept(market)
    kept(market, "red", condition_band="project")
    snapshot = source_of(market.path).newest()
    todays = [today_of(snapshot, market, car.car_id) for car in market.kept_cars.all()]
    rows = {row["fact"]: row for row in comparison(todays)}
    assert rows["Condition"]["differs"] == "differs" and rows["Notes"]["differs"] == ""
    assert rows["Condition"]["red"] == "project"


def test_a_sale_becomes_a_record_once(market: Market) -> None:
    kept(market)
    day = market.sales()["event_date"].max()
    assert isinstance(day, date)
    record = record_sale(market, market.kept_cars.one("green"), "€4.321", day=day.isoformat())
    sale = market.sales(every_record=True).filter(record_id=record).row(0, named=True)
    assert (sale["amount"], sale["outcome"], sale["event_date"]) == (Decimal(4321), "sold", day)
    assert market.kept_cars.one("green").sold_as == record
    with pytest.raises(MarketError, match="sold already"):
        record_sale(market, market.kept_cars.one("green"), "4321", day=day.isoformat())
