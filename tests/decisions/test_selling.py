"""A seller's facts on a small market with a fit."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import data_demo
from pricing.car import Car
from pricing.condition.assessment import assess
from pricing.condition.repairs import price_repairs
from pricing.decisions.first_jobs import worth_doing
from pricing.decisions.highest_bids import HighestBids
from pricing.decisions.seller_terms import SellerTerms
from pricing.decisions.selling import Selling, SellingEvidence, sell_car, selling_evidence
from pricing.decisions.time_to_sale import TimeToSale
from pricing.errors import DecisionError, MoneyError
from pricing.model.saved import load
from pricing.money.charges import read_schedule
from pricing.store.market import Market
from tests.cars import car_of
from tests.condition.walks import PricedByScore, catalogue, walk
from tests.known_market import LAST
from tests.small_market import common_car

SCHEDULE = read_schedule(Path(data_demo.__file__).parent / "example_charges.toml")
KNOWN = SellingEvidence(
    HighestBids(np.zeros(5), np.ones(5), 10.0, 200, 40),
    TimeToSale(np.log([60.0, 50.0]), 3.0, 0.4, 100, 300, 1.2, 0.2, True),
    (-0.1, 0.25),
)


@pytest.fixture(scope="module")
def model(small_market: Market) -> Any:
    return load(small_market)


def sold(market: Market, model: Any, evidence: SellingEvidence = KNOWN, **said: Any) -> Selling:
    car = common_car(market)
    options = {name: said.pop(name) for name in ("schedule", "as_of") if name in said}
    terms = SellerTerms(said.pop("currency", "EUR"), **said)
    return sell_car(
        market, model, car_of(market, car), terms, evidence=evidence, **{"schedule": SCHEDULE, **options}
    )


def test_every_channel_leaves_less_than_is_paid_and_its_law_rises(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model, own_value=Decimal(2000))
    assert [found.channel for found in facts.channels] == ["auction", "dealer", "private"]
    for found in facts.channels:
        assert found.low < found.mid < found.high
        assert found.net_low <= found.net_mid <= found.net_high
        assert found.law["net"].is_sorted()
        row = found.lines.row(0, named=True)
        assert row["price"] - (row["commission"] or 0) - (row["entry fee"] or 0) == row["net"]
        assert found.chance is not None and found.expected is not None
        fees = Decimal(300)
        assert min(found.net_low, Decimal(2000) - fees) <= found.expected <= found.net_high
    assert json.loads(json.dumps(facts.to_dict()))["channels"][0]["channel"] == "auction"


def test_the_reserve_looked_at_decides_the_chance(small_market: Market, model: Any) -> None:
    plain = sold(small_market, model)
    assert plain.auction is not None
    assert (plain.auction.best, plain.auction.reserve, plain.auction.chance) == (None, 0, 1.0)
    assert "neither a reserve nor a channel can be called best" in plain.unknown[-1]
    middle = Decimal(int(np.median(plain.auction.sold_at)))
    held = sold(small_market, model, reserve=middle)
    assert held.auction is not None
    assert held.auction.chance == pytest.approx(0.5, abs=0.01)
    assert (held.auction.sold_at >= float(middle)).all()
    kept = sold(small_market, model, own_value=middle)
    assert kept.auction is not None and kept.auction.best is not None
    assert kept.auction.reserve == kept.auction.best
    expected = kept.auction.reserves["expected"]
    assert float(kept.auction.best_expected or 0) == pytest.approx(expected.max(), abs=0.01)


def test_by_custom_the_low_estimate_is_not_below_the_reserve(small_market: Market, model: Any) -> None:
    free = sold(small_market, model).auction
    assert free is not None and free.low_estimate is not None and free.high_estimate is not None
    assert free.low_estimate == free.customary_low
    assert free.low_estimate < free.high_estimate
    dear = sold(small_market, model, reserve=free.low_estimate * 2).auction
    assert dear is not None
    assert dear.low_estimate == free.low_estimate * 2
    assert dear.customary_low == free.customary_low


def test_a_dearer_asking_price_waits_longer_and_never_leaves_less(small_market: Market, model: Any) -> None:
    cheap, dear = (sold(small_market, model, asking=Decimal(asked)).channels[2] for asked in (9000, 12_000))
    assert cheap.chance is not None and dear.chance is not None
    assert dear.chance < cheap.chance
    assert dear.net_high >= cheap.net_high


def test_what_the_records_do_not_say_stays_unknown(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model, SellingEvidence(None, None, None), own_value=Decimal(3000))
    assert facts.auction is None
    assert [found.chance for found in facts.channels] == [None] * 3
    assert [found.expected for found in facts.channels] == [None] * 3
    assert len(facts.unknown) == 3
    assert facts.asking["dealer"]["within_12"].null_count() == facts.asking["dealer"].height


def test_evidence_is_learnt_from_a_market(small_market: Market, model: Any) -> None:
    told: list[tuple[int, int]] = []
    found = selling_evidence(small_market, model, progress=lambda _, done, total: told.append((done, total)))
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert len(set(told)) >= 5 and all(0 <= done < total == 7 for done, total in told)
    assert found.bids is None or found.bids.lots >= 40
    assert found.times is None  # too few of its sold cars were advertised before
    assert found.estimates is not None and found.estimates[1] > 0


def test_amounts_in_another_currency_are_turned_at_the_days_rate(small_market: Market, model: Any) -> None:
    euros = sold(small_market, model, schedule=None)
    pounds = sold(small_market, model, schedule=None, currency="GBP")
    rate = pounds.conversion.units / pounds.conversion.base_units
    for one, other in zip(euros.channels, pounds.channels, strict=True):
        assert float(other.mid) == pytest.approx(float(one.mid) * rate, rel=1e-4)
    with pytest.raises(MoneyError, match="no rate from ATS to EUR"):
        sold(small_market, model, currency="ATS")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            {"reserve": Decimal(5000), "high_estimate": Decimal(4000)},
            "reserve of 5000 is above the high estimate of 4000: by custom it is at or below",
        ),
        (
            {"low_estimate": Decimal(5), "high_estimate": Decimal(4)},
            "low estimate of 5 is above the high estimate",
        ),
        ({"asking": Decimal(0)}, "asking: expected an amount above nought; got 0"),
        ({"own_value": Decimal("NaN")}, "own value: expected an amount above nought; got NaN"),
        (
            {"asking": Decimal(100), "floor": Decimal(200)},
            "lowest price of 200 is above the asking price of 100",
        ),
    ],
)
def test_terms_that_make_no_sense_are_refused(said: dict[str, Any], words: str) -> None:
    with pytest.raises(DecisionError, match=words):
        SellerTerms("EUR", **said)


def test_what_is_worth_doing_first_is_weighed_against_what_it_does_to_the_price() -> None:
    found = walk(state="worn", body_paint="needs repair", chassis_side_rails="needs repair")
    costs = price_repairs(assess(found, draws=500), catalogue(), country="GB")
    car = {"make": "Wexcombe", "model": "Teasel", "year": 1966, "options": []}
    cheap, dear = (_first(costs, car, times) for times in (1.0, 40.0))
    assert cheap["item"].n_unique() == cheap.height
    for first in (cheap, dear):
        repairs = first.filter(first["kind"] == "repair")
        assert (repairs["gain"] >= 0).all()
        answers = (repairs["gain"] > repairs["cost"]).to_list()
        assert [answer == "do it" for answer in repairs["answer"]] == answers
    assert (dear["answer"] == "do it").sum() > (cheap["answer"] == "do it").sum()
    assert set(cheap.filter(cheap["kind"] == "paper")["answer"]) == {"leave it", "cost not said"}


def _first(costs: Any, car: dict[str, Any], times: float) -> Any:
    priced = PricedByScore(times)

    class Dated:
        def distribution(self, cars: Any, as_of: Any = None) -> Any:
            graded = cars.with_columns(condition_band=cars["condition_band"].fill_null("average"))
            return priced.distribution(graded)

    return worth_doing(Dated(), Car(**car), LAST, costs, {"history file": Decimal(50)})


def test_facts_are_frozen(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model)
    assert replace(facts, rates="none").rates == "none"
    with pytest.raises(AttributeError):
        facts.rates = "other"  # type: ignore[misc]
