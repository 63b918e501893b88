from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl
import pytest

from pricing.car import Car
from pricing.condition.assessment import assess
from pricing.condition.inspection import Inspection
from pricing.condition.repairs import RepairCosts, price_repairs
from pricing.decisions.car_price import inspected
from pricing.decisions.mending import EVERYTHING, LOOK_FIRST, MendOrBuy, mend_or_buy, plan
from pricing.decisions.simulation import CarDraws, simulate
from pricing.errors import DecisionError, PricingError
from pricing.model.distribution import PriceDistribution
from tests.condition.walks import CAR, PricedByScore, catalogue, random_walk, walk
from tests.known_market import LAST


def costs_of(found: Inspection) -> RepairCosts:
    return price_repairs(assess(found, draws=1000), catalogue(), country="GB")


def drawn(costs: RepairCosts, model: Any) -> CarDraws:
    car = Car(make="Wexcombe", model="Teasel", year=1966)
    return simulate(model, inspected(car, costs.result), LAST, inspection=costs.result)


def decided(found: Inspection, *, times: float = 1.0, **options: Any) -> MendOrBuy:
    costs = costs_of(found)
    return mend_or_buy(drawn(costs, PricedByScore(times)), costs, **options)


def banded(decision: MendOrBuy) -> pl.DataFrame:
    """The goals that are a band."""
    return decision.goals.filter(pl.col("goal") != EVERYTHING)


def tired(seed: int = 0, construction: str = "separate chassis") -> Inspection:
    """An ordinary tired car: worn, with a fifth of it needing repair."""
    return random_walk(construction, [0.35, 0.45, 0.17, 0.03], np.random.default_rng(seed))


def test_the_better_car_costs_less_in_the_end_for_most_ordinary_cars_and_not_for_all() -> None:
    # common practice, no source: the sum of repairs exceeds the price difference
    bands = pl.concat(
        [
            banded(decided(tired(seed, construction)))
            for construction in ("separate chassis", "monocoque")
            for seed in range(8)
        ]
    )
    better = bands["chance_cheaper"] < 0.5
    assert 0.8 < better.mean() < 1  # type: ignore[operator]
    assert (bands.filter(better)["expected_difference"] > 0).all()


def test_one_local_repair_does_not_condemn_a_sound_car() -> None:
    # common practice, no source
    found = walk(chassis_outriggers="needs repair", chassis_side_rails="needs repair")
    row = banded(decided(found)).row(0, named=True)
    assert row["chance_cheaper"] > 0.5
    assert row["highest_price"] > 0.5 * row["better_car_mid"]


def test_there_are_exceptions_where_cars_are_dear_and_the_same_repairs_are_not() -> None:
    modest, dear = (banded(decided(tired(), times=times)) for times in (1.0, 20.0))
    assert set(modest["answer"]) == {"leave it"}
    assert "mend" in set(dear["answer"])


def test_the_highest_price_is_where_the_odds_are_even_and_the_leave_line_where_they_are_one_in_five() -> None:
    found = walk(state="worn", body_paint="needs repair")
    row = banded(decided(found, times=5.0)).row(-1, named=True)
    even, leave = (Decimal(repr(round(row[key], 2))) for key in ("highest_price", "leave_it_above"))
    assert 0 < even < leave
    at_even = banded(decided(found, times=5.0, asking=even)).row(-1, named=True)
    at_leave = banded(decided(found, times=5.0, asking=leave)).row(-1, named=True)
    assert at_even["chance_cheaper"] == pytest.approx(0.5, abs=0.003)
    assert at_leave["chance_cheaper"] == pytest.approx(0.2, abs=0.003)


def test_the_less_is_asked_the_better_mending_looks() -> None:
    chances = [
        banded(decided(tired(), times=12.0, asking=Decimal(asked)))["chance_cheaper"].to_list()
        for asked in (10, 5000, 20000, 80000)
    ]
    assert all(np.diff(np.array(chances), axis=0).ravel() <= 0)
    assert chances[0] > chances[-1]


def test_a_known_car_by_hand() -> None:
    # no spread anywhere: a model without deviation, a car seen whole, an asking price
    found = walk(state="worn")
    costs = costs_of(found)
    decision = mend_or_buy(drawn(costs, PricedByScore(deviation=1e-9)), costs, asking=Decimal(1000))
    row = banded(decision).row(0, named=True)
    mended, _ = plan(costs, 87.5)
    assert row["goal"] == "top condition"
    assert row["better_car_mid"] == pytest.approx(8700, rel=1e-6)
    assert row["budget_mid"] == pytest.approx(np.median(costs.total(mended)))
    assert row["expected_difference"] == pytest.approx(1000 + costs.total(mended).mean() - 8700, rel=1e-6)


def test_a_plan_reaches_the_middle_of_the_band_where_jobs_allow_it() -> None:
    costs = costs_of(tired())
    for target in (37.5, 62.5, 87.5):
        mended, score = plan(costs, target)
        assert (score >= target - 1e-6).all()
        assert (costs.result.states[mended] > 0).all()
        assert costs.total(mended).mean() > 0


def test_a_higher_band_never_costs_less() -> None:
    costs = costs_of(tired())
    totals = [costs.total(plan(costs, target)[0]).mean() for target in (37.5, 62.5, 87.5)]
    assert totals == sorted(totals)


def test_a_plan_leaves_alone_what_is_not_needed() -> None:
    costs = costs_of(walk(state="worn", chassis_side_rails="needs repair", chassis_rear_legs="needs repair"))
    mended, _ = plan(costs, 50.0)
    assert 1 <= mended[0].sum() < 10


def test_what_no_job_mends_stays_and_is_told() -> None:
    from dataclasses import replace

    found = walk(chassis_side_rails="structural or missing")
    bare = tuple(
        replace(check, jobs={}) if check.id == "chassis_side_rails" else check for check in found.sheet.checks
    )
    decision = decided(replace(found, sheet=replace(found.sheet, checks=bare)))
    assert banded(decision)["reached"].to_list() == [0.0, 0.0]


def test_ranges_rise_and_notice_and_cautions_come_along() -> None:
    decision = decided(tired())
    for name in ("price_now", "budget", "price_then", "better_car"):
        low, mid, high = (banded(decision)[f"{name}_{end}"] for end in ("low", "mid", "high"))
        assert (low <= mid).all()
        assert (mid <= high).all()
    assert "Invented" in decision.notice
    assert any("licensed" in text for text in decision.cautions)
    assert decision.band_now == "solid restorable"


def test_a_car_half_seen_makes_the_answer_less_certain() -> None:
    seen = banded(decided(walk(state="worn", body_paint="needs repair"), times=3.0)).row(-1, named=True)
    half = banded(decided(Inspection.start("separate chassis", CAR), times=3.0)).row(-1, named=True)
    assert half["budget_high"] - half["budget_low"] > 3 * (seen["budget_high"] - seen["budget_low"])


def test_the_same_seed_gives_the_same_answer() -> None:
    assert banded(decided(tired())).equals(banded(decided(tired())))


def test_above_the_highest_band_there_is_nothing_to_buy() -> None:
    decision = decided(walk())
    assert decision.band_now == "top condition"
    assert banded(decision).is_empty()
    assert decision.goals.columns == decided(tired()).goals.columns


@pytest.mark.parametrize(
    ("found", "options", "message"),
    [
        (walk(state="worn"), {"asking": Decimal(-1)}, "asking price absurd: got -1, expected 10 to"),
        (walk(state="worn"), {"asking": Decimal("NaN")}, "asking price absurd: got NaN"),
        (
            walk(state="worn"),
            {"asking": Decimal(9_000_000_000)},
            "absurd: got 9000000000, expected 10",
        ),
        (walk(state="worn"), {"least": "rotten"}, "unknown state 'rotten'"),
    ],
)
def test_what_makes_no_sense_is_refused(found: Inspection, options: dict[str, Any], message: str) -> None:
    with pytest.raises(PricingError, match=message):
        decided(found, **options)


def test_of_a_car_that_nobody_saw_no_answer_is_given() -> None:
    blank = decided(Inspection.start("separate chassis", CAR))
    assert set(blank.goals["answer"]) == {LOOK_FIRST}
    assert blank.seen == 0.0


def test_a_car_without_a_range_is_refused() -> None:
    class Unknown(PricedByScore):
        def distribution(self, cars: pl.DataFrame, as_of: Any = None) -> PriceDistribution:
            price = super().distribution(cars)
            return PriceDistribution(
                price.law, price.centre, price.spread, reason=pl.Series(["no sales of this make"] * len(cars))
            )

    costs = costs_of(tired())
    with pytest.raises(DecisionError, match="no comparison: no sales of this make"):
        mend_or_buy(drawn(costs, Unknown()), costs)


def test_everything_costs_more_than_the_way_to_a_band_and_a_gift_is_counted() -> None:
    goals = decided(tired()).goals
    everything, average = goals.row(0, named=True), goals.row(1, named=True)
    assert everything["budget_mid"] > average["budget_mid"]
    for row in (everything, average):
        assert (row["highest_price"] <= 0) == (row["as_a_gift"] >= 0.5)
