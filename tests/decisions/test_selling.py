"""A seller's facts on a small market with a fit."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import data_demo
from pricing.condition.assessment import assess
from pricing.condition.repairs import price_repairs
from pricing.decisions.sell.auction import AuctionEvidence
from pricing.decisions.sell.channel_sale import HORIZON
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import Selling, sell_car
from pricing.decisions.sell.selling_evidence import SellingEvidence, selling_evidence
from pricing.decisions.sell.time_to_sale import TimeToSale
from pricing.decisions.sell.what_ifs import BeforeAndAfter
from pricing.errors import MoneyError, PricingError
from pricing.model.saved import load
from pricing.money.charges import read_schedule
from pricing.store.market import Market
from tests.cars import car_of
from tests.condition.walks import catalogue, walk
from tests.small_market import common_car

SCHEDULE = read_schedule(Path(data_demo.__file__).parent / "example_charges.toml")
LOTS = AuctionEvidence(200, 40, 50, 0.8, 0.7, (-0.1, 0.25))
NO_LOTS = AuctionEvidence(3, 1, 0, None, None, None)
KNOWN = SellingEvidence(
    LOTS, TimeToSale(np.log([60.0, 50.0]), 3.0, 0.4, 100, 300, 1.2, 0.2, True), slower=0.001
)
NOTHING = SellingEvidence(NO_LOTS, None)


@pytest.fixture(scope="module")
def model(small_market: Market) -> Any:
    return load(small_market)


def sold(market: Market, model: Any, evidence: SellingEvidence = KNOWN, **said: Any) -> Selling:
    car = common_car(market) | said.pop("car", {})
    options = {
        name: said.pop(name) for name in ("schedule", "as_of", "seed", "inspection", "costs") if name in said
    }
    terms = SellerTerms(said.pop("currency", "EUR"), **said)
    return sell_car(
        market, model, car_of(market, car), terms, evidence=evidence, **{"schedule": SCHEDULE, **options}
    )


AMOUNTS = st.none() | st.integers(500, 40_000).map(Decimal)


@settings(max_examples=15)
@given(AMOUNTS, AMOUNTS, AMOUNTS, st.none() | st.integers(2, 9), st.floats(0.0, 0.2), st.integers(0, 3))
def test_in_every_draw_what_is_left_is_paid_less_charges_and_sales_keep_to_the_reserve(
    small_market: Market,
    model: Any,
    reserve: Decimal | None,
    asking: Decimal | None,
    floor: Decimal | None,
    bidders: int | None,
    discount: float,
    seed: int,
) -> None:
    lowest = None if floor is None or (asking is not None and floor > asking) else floor
    facts = sold(
        small_market, model, reserve=reserve, asking=asking, floor=lowest, bidders=bidders,
        discount=discount, seed=seed,
    )  # fmt: skip
    for found in facts.channels:
        charged, happened = found.draws.charged, found.draws.sold
        assert np.allclose(charged.net, charged.hammer - charged.commission - charged.entry_fee)
        assert (charged.net <= charged.paid - charged.commission - charged.entry_fee + 1e-6).all()
        assert (charged.paid >= charged.hammer).all()
        least = facts.auction.reserve if found.channel == "auction" else (lowest or Decimal(0))
        assert (charged.hammer[happened] >= float(least) - 0.011).all()
        if found.channel != "auction" and found.asking is not None:
            assert (charged.hammer[happened] <= float(found.asking) + 1e-6).all()
        assert found.chance == float((found.draws.weeks <= HORIZON).mean())
        assert float(found.left) == pytest.approx(float(found.draws.left.mean()), abs=0.011)
        if found.paid is not None and found.net is not None:
            for span in (found.paid, found.net):
                assert span.low <= span.mid <= span.high
            for end in ("low", "mid", "high"):
                assert getattr(found.net, end) <= getattr(found.paid, end)
    assert [found.left for found in facts.channels] == sorted(
        (found.left for found in facts.channels), reverse=True
    )
    chance = facts.auction.reserves["chance"]
    assert (chance.diff().drop_nulls() <= 1e-12).all()


def test_the_asking_price_says_nothing_of_the_auction(small_market: Market, model: Any) -> None:
    cheap, dear = (sold(small_market, model, asking=Decimal(asked)) for asked in (1000, 50_000))
    nets = [
        next(found for found in facts.channels if found.channel == "auction").net for facts in (cheap, dear)
    ]
    assert nets[0] == nets[1]


def test_the_advice_is_the_channel_that_leaves_most(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model)
    assert facts.best.left == max(found.left for found in facts.channels)
    soon = sold(small_market, model, discount=0.2)
    assert soon.best.channel == "auction"  # six weeks; the others wait longer
    for found, later in zip(
        sorted(facts.channels, key=lambda one: one.channel),
        sorted(soon.channels, key=lambda one: one.channel),
        strict=True,
    ):
        assert later.left <= found.left
    told = json.loads(json.dumps(facts.to_dict()))
    assert {row["channel"] for row in told["channels"]} == {"auction", "dealer", "private"}
    assert "draws" not in told["channels"][0] and "inspection" not in told


def test_without_a_worth_unsold_no_reserve_helps_and_with_one_it_does(
    small_market: Market, model: Any
) -> None:
    plain = sold(small_market, model).auction
    assert (plain.best, plain.reserve) == (0, 0)
    assert plain.reserves["chance"][0] == 1.0
    middle = Decimal(int(np.median(plain.draws.charged.hammer)))
    held = sold(small_market, model, reserve=middle).auction
    row = held.reserves.filter(pl.col("reserve") == float(middle)).row(0, named=True)
    assert row["chance"] == pytest.approx(0.5, abs=0.01)
    kept = sold(small_market, model, own_value=middle).auction
    assert kept.best > 0
    assert float(kept.best_left) == pytest.approx(kept.reserves["left"].max(), abs=0.01)


def test_by_custom_the_low_estimate_is_not_below_the_reserve(small_market: Market, model: Any) -> None:
    free = sold(small_market, model).auction
    assert free.low_estimate is not None and free.high_estimate is not None
    assert free.low_estimate == free.customary_low
    assert free.low_estimate < free.high_estimate
    dear = sold(small_market, model, reserve=free.low_estimate * 2).auction
    assert dear.low_estimate == free.low_estimate * 2
    assert dear.customary_low == free.customary_low


def test_a_dearer_asking_price_waits_longer_and_the_lowest_price_counts(
    small_market: Market, model: Any
) -> None:
    cheap, dear = (sold(small_market, model, asking=Decimal(asked)) for asked in (9000, 12_000))
    for channel in ("dealer", "private"):
        prices = cheap.asking[channel].prices
        for column in ("within_4", "within_8", "within_12"):
            assert (prices[column].diff().drop_nulls() <= 1e-12).all()
        assert (dear.asking[channel].draws.weeks >= cheap.asking[channel].draws.weeks).all()
    firm = sold(small_market, model, asking=Decimal(9000), floor=Decimal(7000))
    loose = sold(small_market, model, asking=Decimal(9000), floor=Decimal(3000))
    for channel in ("dealer", "private"):
        assert firm.asking[channel].draws.chance() < loose.asking[channel].draws.chance()
        assert firm.asking[channel].ladder["asking"].to_list()[-1] == pytest.approx(7000)


def test_where_the_price_tells_nothing_what_is_customary_is_asked(small_market: Market, model: Any) -> None:
    flat = sold(small_market, model, replace(KNOWN, slower=0.6))
    assert not flat.price_tells
    for channel, plan in flat.asking.items():
        steep = sold(small_market, model).asking[channel]
        assert plan.asking == plan.best
        assert float(steep.prices.filter(pl.col("asking") == float(steep.best))["left"][0]) == pytest.approx(
            steep.prices["left"].max(), rel=1e-6
        )


def test_what_the_records_do_not_say_stays_unknown(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model, NOTHING)
    assert [found.chance for found in facts.channels] == [None] * 3
    assert [found.weeks for found in facts.channels] == [None] * 3
    assert len(facts.unknown) == 3
    for plan in facts.asking.values():
        assert plan.prices["within_12"].null_count() == plan.prices.height
        assert plan.ladder["sold_by_then"].null_count() == 3
    assert facts.auction.low_estimate is None


def test_evidence_is_learnt_from_a_market(small_market: Market, model: Any) -> None:
    told: list[tuple[int, int]] = []
    found = selling_evidence(small_market, model, progress=lambda _, done, total: told.append((done, total)))
    assert told == [(0, 4), (1, 4), (2, 4), (3, 4)]
    lots = small_market.sales().filter(
        pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"])
    )
    assert found.auction.lots == lots.height
    assert found.times is None  # too few of its sold cars were advertised before
    assert found.auction.estimates is not None and found.auction.estimates[1] > 0
    assert [one.change for one in found.compared] == ["history file", "numbers documented", "repair"]


def test_amounts_in_another_currency_are_turned_at_the_days_rate(small_market: Market, model: Any) -> None:
    euros = sold(small_market, model, schedule=None)
    pounds = sold(small_market, model, schedule=None, currency="GBP")
    rate = pounds.conversion.units / pounds.conversion.base_units
    one, other = (
        next(found for found in facts.channels if found.channel == "auction") for facts in (euros, pounds)
    )
    assert one.paid is not None and other.paid is not None
    assert float(other.paid.mid) == pytest.approx(float(one.paid.mid) * rate, rel=1e-4)
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
            {"low_estimate": Decimal(50), "high_estimate": Decimal(40)},
            "low estimate of 50 is above the high estimate",
        ),
        ({"asking": Decimal(0)}, "asking price absurd: got 0, expected 10 to 250,000,000"),
        ({"asking": Decimal(9_000_000_000)}, "asking price absurd: got 9000000000, expected"),
        ({"own_value": Decimal("NaN")}, "worth unsold absurd: got NaN, expected 0 to"),
        ({"papers": {"history file": Decimal(-5)}}, "cost of history file absurd: got -5"),
        ({"discount": 0.9}, "the discount a month is a share from 0 to 0.5; got 0.9"),
        (
            {"asking": Decimal(100), "floor": Decimal(200)},
            "lowest price of 200 is above the asking price of 100",
        ),
    ],
)
def test_terms_that_make_no_sense_are_refused(said: dict[str, Any], words: str) -> None:
    with pytest.raises(PricingError, match=words):
        SellerTerms("EUR", **said)


def test_what_if_a_repair_or_a_paper(small_market: Market, model: Any) -> None:
    seen = assess(walk("monocoque", "worn", body_paint="needs repair", shell_outer_sills="needs repair"))
    seen = replace(seen, inspection=replace(seen.inspection, car={}))
    costs = price_repairs(seen, catalogue(), country="GB", currency="EUR")
    compared = (BeforeAndAfter("repair", 12, 0.2, supported=True),)
    car = {"condition_band": None, "condition_score": None}
    facts = sold(
        small_market, model, replace(KNOWN, compared=compared), car=car, inspection=seen, costs=costs,
        papers={"numbers documented": Decimal(5)},
    )  # fmt: skip
    rows = facts.first
    assert (rows["net_after"] >= rows["net_before"]).all()
    repairs = rows.filter(pl.col("kind") == "repair")
    assert repairs.height > 0 and repairs["supported"].all()
    assert not rows.filter(pl.col("kind") == "paper")["supported"].any()
    for row in repairs.iter_rows(named=True):
        assert row["cost_low"] <= row["cost_mid"] <= row["cost_high"]
        assert 0 <= row["pays"] <= 1
    left = rows["left"].fill_null(rows["gain"]).to_list()
    assert left == sorted(left, reverse=True)


def test_facts_are_frozen(small_market: Market, model: Any) -> None:
    facts = sold(small_market, model)
    assert replace(facts, rates="none").rates == "none"
    with pytest.raises(AttributeError):
        facts.rates = "other"  # type: ignore[misc]
