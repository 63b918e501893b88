from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl
import pytest

from pricing.condition.assessment import assess
from pricing.condition.inspection import Inspection
from pricing.condition.repairs import RepairCosts, price_repairs
from pricing.decisions.mending import MendOrBuy, mend_or_buy, plan
from pricing.errors import DecisionError
from tests.condition.walks import CAR, PricedByScore, catalogue, random_walk, walk


def costs_of(found: Inspection) -> RepairCosts:
    return price_repairs(assess(found, draws=1000), catalogue(), country="GB")


def decided(found: Inspection, *, times: float = 1.0, **options: Any) -> MendOrBuy:
    return mend_or_buy(PricedByScore(times), costs_of(found), **options)


def tired(seed: int = 0, construction: str = "separate chassis") -> Inspection:
    """An ordinary tired car: worn, with a fifth of it needing repair."""
    return random_walk(construction, [0.35, 0.45, 0.17, 0.03], np.random.default_rng(seed))


def test_the_better_car_costs_less_in_the_end_for_most_ordinary_cars_and_not_for_all() -> None:
    # common practice, no source: the sum of repairs exceeds the price difference
    bands = pl.concat(
        [
            decided(tired(seed, construction)).bands
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
    row = decided(found).bands.row(0, named=True)
    assert row["chance_cheaper"] > 0.5
    assert row["highest_price"] > 0.5 * row["better_car_mid"]


def test_there_are_exceptions_where_cars_are_dear_and_the_same_repairs_are_not() -> None:
    modest, dear = (decided(tired(), times=times).bands for times in (1.0, 20.0))
    assert set(modest["answer"]) == {"leave it"}
    assert "mend" in set(dear["answer"])


def test_the_highest_price_is_where_the_odds_are_even_and_the_leave_line_where_they_are_one_in_five() -> None:
    found = walk(state="worn", body_paint="needs repair")
    row = decided(found, times=5.0).bands.row(-1, named=True)
    even, leave = (Decimal(repr(round(row[key], 2))) for key in ("highest_price", "leave_it_above"))
    assert 0 < even < leave
    at_even = decided(found, times=5.0, asking=even).bands.row(-1, named=True)
    at_leave = decided(found, times=5.0, asking=leave).bands.row(-1, named=True)
    assert at_even["chance_cheaper"] == pytest.approx(0.5, abs=0.003)
    assert at_leave["chance_cheaper"] == pytest.approx(0.2, abs=0.003)


def test_the_less_is_asked_the_better_mending_looks() -> None:
    chances = [
        decided(tired(), times=12.0, asking=Decimal(asking)).bands["chance_cheaper"].to_list()
        for asking in (0, 5000, 20000, 80000)
    ]
    assert all(np.diff(np.array(chances), axis=0).ravel() <= 0)
    assert chances[0] > chances[-1]


def test_a_known_car_by_hand() -> None:
    # no spread anywhere: a model without deviation, a car seen whole, an asking price
    found = walk(state="worn")
    costs = costs_of(found)
    decision = mend_or_buy(PricedByScore(deviation=1e-9), costs, asking=Decimal(1000))
    row = decision.bands.row(0, named=True)
    mended, _ = plan(costs, 87.5)
    assert row["band"] == "top condition"
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
    assert decision.bands["reached"].to_list() == [0.0, 0.0]


def test_ranges_rise_and_notice_and_cautions_come_along() -> None:
    decision = decided(tired())
    for name in ("price_now", "budget", "price_then", "better_car"):
        low, mid, high = (decision.bands[f"{name}_{end}"] for end in ("low", "mid", "high"))
        assert (low <= mid).all()
        assert (mid <= high).all()
    assert "Invented" in decision.notice
    assert any("licensed" in text for text in decision.cautions)
    assert decision.band_now == "solid restorable"


def test_a_car_half_seen_makes_the_answer_less_certain() -> None:
    seen = decided(walk(state="worn", body_paint="needs repair"), times=3.0).bands.row(-1, named=True)
    half = decided(Inspection.start("separate chassis", CAR), times=3.0).bands.row(-1, named=True)
    assert half["budget_high"] - half["budget_low"] > 3 * (seen["budget_high"] - seen["budget_low"])


def test_the_same_seed_gives_the_same_answer() -> None:
    assert decided(tired()).bands.equals(decided(tired()).bands)


def test_above_the_highest_band_there_is_nothing_to_buy() -> None:
    decision = decided(walk())
    assert decision.band_now == "top condition"
    assert decision.bands.is_empty()
    assert decision.bands.columns == decided(tired()).bands.columns


@pytest.mark.parametrize(
    ("found", "options", "message"),
    [
        (walk(state="worn"), {"asking": Decimal(-1)}, "must not be negative, got -1"),
        (walk(state="worn"), {"asking": Decimal("NaN")}, "must not be negative, got NaN"),
        (walk(state="worn"), {"alike": 1.0}, "alike must be at least 0 and below 1"),
    ],
)
def test_what_makes_no_sense_is_refused(found: Inspection, options: dict[str, Any], message: str) -> None:
    with pytest.raises(DecisionError, match=message):
        decided(found, **options)
