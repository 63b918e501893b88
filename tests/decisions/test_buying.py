"""A buyer's facts against a price model whose answers are known by hand."""

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pricing.condition.assessment import assess
from pricing.condition.catalogue import quotes_of
from pricing.condition.checks import BadState
from pricing.condition.inspection import Inspection
from pricing.condition.repairs import price_repairs
from pricing.decisions.buy.alternatives import Wanted
from pricing.decisions.buy.buying import BuyerTerms, Buying, buy_car
from pricing.decisions.gap import Gap, asking_gap_of
from pricing.errors import DecisionError, MoneyError, PricingError
from pricing.model.distribution import PriceDistribution
from pricing.money.charges import Charge, Schedule, Tier
from pricing.vocabulary import CONDITION_BANDS
from tests.cars import car_of
from tests.condition.walks import catalogue, walk
from tests.known_market import BASE, LAST, SPREAD, KnownMarket, KnownModel

CAR = {"make": "Corvane", "model": "Six", "year": 1965, "condition_band": "average", "channel": "private"}
SCHEDULE = Schedule(
    "rates", "shown for their form", True,
    (Charge("auction", "premium", date(2026, 1, 1), "EUR", (Tier(Decimal("0.2")),)),),
)  # fmt: skip


class Priced(KnownModel):
    """Asks 10 % above sold on the private channel."""

    asked = 0

    def asking_gaps(self) -> pl.DataFrame:
        tiers = ["lower third", "middle third", "upper third"]
        return pl.DataFrame(
            {
                "asking_by": ["private"] * 3,
                "tier": tiers,
                "factor": [1.1] * 3,
                "low": [1.05] * 3,
                "high": [1.15] * 3,
            }
        )

    def distribution(self, cars: pl.DataFrame, as_of: date | None = None) -> PriceDistribution:
        self.asked += 1
        return super().distribution(cars)


def bought(asking: Any = 9000, certainty: float = 0.6, **said: Any) -> Buying:
    options = {
        name: said.pop(name) for name in ("schedule", "inspection", "costs", "limits", "seed") if name in said
    }
    names = ("opening", "transport", "repairs", "step", "import_from")
    terms = {name: said.pop(name) for name in names if name in said}
    return buy_car(
        KnownMarket(), Priced(), car_of(KnownMarket(), CAR | said), BuyerTerms("EUR", certainty, **terms),
        asking=None if asking is None else Decimal(asking), **options,
    )  # fmt: skip


def test_the_walk_away_price_is_the_quantile_that_the_certainty_names() -> None:
    facts = bought(certainty=0.7)
    expected = BASE * np.exp(SPREAD * stats.norm.ppf(0.3))
    assert float(facts.walk_away.worth) == pytest.approx(expected, rel=2e-3)  # linear between levels
    assert facts.walk_away.exact == facts.walk_away.worth
    assert facts.walk_away.price is not None
    assert 0 <= facts.walk_away.worth - facts.walk_away.price < 10
    assert facts.opening.certainty == pytest.approx(0.85)


def test_what_it_needs_spent_comes_off_the_limit() -> None:
    without, spent = bought(), bought(repairs=Decimal(700), transport=Decimal(300))
    assert without.walk_away.exact is not None
    assert spent.walk_away.exact == without.walk_away.exact - 1000
    assert spent.total is not None and spent.total.low == spent.total.high == Decimal(10_000)


def test_at_an_auction_limits_are_hammer_prices_and_the_premium_counts() -> None:
    facts = bought(asking=None, channel="auction", schedule=SCHEDULE)
    assert facts.walk_away.exact is not None
    assert facts.walk_away.exact * Decimal("1.2") <= facts.walk_away.worth + Decimal("0.005")
    assert (facts.walk_away.exact + Decimal("0.01")) * Decimal("1.2") > facts.walk_away.worth - Decimal(
        "0.01"
    )
    assert facts.price_basis == "hammer"
    assert facts.bids["price"].max() <= facts.walk_away.price  # type: ignore[operator]
    assert (facts.standing, facts.asking, facts.total) == (None, None, None)
    assert "shown for their form" in facts.rates


def test_the_standing_is_also_given_after_the_gap_from_asking_to_sold() -> None:
    facts = bought(asking=9900)
    assert facts.gap == Gap(1.1, 1.05, 1.15, "private", "upper third")
    assert facts.after_gap == 9000
    assert facts.standing == pytest.approx(stats.norm.cdf(np.log(9900 / BASE) / SPREAD), abs=1e-4)
    assert facts.standing_after_gap == pytest.approx(stats.norm.cdf(np.log(9000 / BASE) / SPREAD), abs=0.003)
    assert (
        asking_gap_of(
            Priced().asking_gaps(), KnownMarket().sales(), car_of(KnownMarket(), CAR | {"channel": "dealer"})
        )
        is None
    )


@settings(max_examples=8)
@given(st.floats(0.05, 0.9), st.sampled_from([0, 400, 2500]), st.sampled_from(["private", "auction"]))
def test_a_worse_band_never_raises_an_offer(certainty: float, repairs: int, channel: str) -> None:
    limits = []
    for band in CONDITION_BANDS:
        facts = bought(
            certainty=certainty,
            repairs=Decimal(repairs),
            channel=channel,
            schedule=SCHEDULE,
            condition_band=band,
        )
        limits.append(
            [-1 if limit.price is None else limit.price for limit in (facts.walk_away, facts.opening)]
        )
    assert np.all(np.diff(np.array(limits, dtype=float), axis=0) >= 0)


@settings(max_examples=8)
@given(st.integers(500, 60_000), st.integers(0, 20_000))
def test_a_higher_asking_price_never_stands_lower(asking: int, more: int) -> None:
    low, high = bought(asking=asking), bought(asking=asking + more)
    assert low.standing is not None and high.standing is not None
    assert low.standing <= high.standing
    assert low.standing_after_gap is not None and high.standing_after_gap is not None
    assert low.standing_after_gap <= high.standing_after_gap


@settings(max_examples=8)
@given(st.floats(0.05, 0.85), st.floats(0.0, 0.1))
def test_more_certainty_never_raises_a_limit(certainty: float, more: float) -> None:
    less, surer = bought(certainty=certainty), bought(certainty=certainty + more)
    assert less.walk_away.exact is not None and surer.walk_away.exact is not None
    assert surer.walk_away.exact <= less.walk_away.exact
    assert less.opening.exact is not None
    assert less.opening.exact <= min(less.walk_away.exact, Decimal(9000))


def test_a_half_seen_car_has_a_wider_range_and_its_questions_are_named() -> None:
    car = {"condition_band": None}
    seen = assess(walk(state="worn"))
    half = assess(Inspection.start("separate chassis", {}))
    facts = [_inspected(result, car) for result in (seen, half)]
    widths = [np.log(float(found.valuation.high) / float(found.valuation.low)) for found in facts]  # type: ignore[arg-type]
    assert widths[1] > 1.2 * widths[0]
    assert any("Not seen yet" in question for question in facts[1].questions)
    assert not any("Not seen yet" in question for question in facts[0].questions)


def _inspected(result: Any, car: dict[str, Any]) -> Buying:
    named = replace(result.inspection, car={})
    return bought(inspection=replace(result, inspection=named), repairs=Decimal(800), **car)


def test_repairs_of_what_an_inspection_found_are_shown_and_not_counted_twice() -> None:
    facts = _inspected(assess(walk(state="worn")), {"condition_band": None})
    row = facts.day_one.filter(pl.col("line") == "repairs").row(0, named=True)
    assert (row["mid"], row["counted"]) == (800, False)
    assert facts.walk_away.exact == facts.walk_away.worth


def quoted(amount: int, **said: Any) -> Buying:
    """An inspected car whose outriggers were quoted at so much."""
    seen = assess(walk(state="worn", chassis_outriggers="needs repair"))
    seen = replace(seen, inspection=replace(seen.inspection, car={}))
    job = next(name for name in seen.inspection.sheet.check("chassis_outriggers").jobs[BadState.NEEDS_REPAIR])
    quotes = quotes_of({job: Decimal(amount)}, "EUR", catalogue().price_date)
    costs = price_repairs(seen, catalogue(), country="GB", currency="EUR", quotes=quotes)
    return bought(inspection=seen, costs=costs, condition_band=None, **said)


def test_the_budget_of_an_inspection_makes_the_total_and_a_quote_replaces_its_line() -> None:
    facts = quoted(1000, transport=Decimal(300))
    assert facts.repairs is not None and facts.total is not None and facts.left is not None
    assert "repairs" not in facts.open_lines
    row = facts.day_one.filter(pl.col("line") == "repairs").row(0, named=True)
    assert (row["low"], row["mid"], row["high"]) == (facts.repairs.low, facts.repairs.mid, facts.repairs.high)
    assert facts.total.mid == Decimal(9300) + facts.repairs.mid
    assert facts.better is not None
    assert float(facts.repairs.mid) == pytest.approx(facts.better.goals["budget_mid"][0], abs=0.01)
    with pytest.raises(DecisionError, match="repairs were said and found by an inspection"):
        quoted(1000, repairs=Decimal(500))


@settings(max_examples=10)
@given(st.integers(0, 20_000), st.integers(0, 20_000), st.integers(0, 3))
def test_a_dearer_repair_never_raises_what_is_left(quote: int, more: int, seed: int) -> None:
    cheap, dear = (quoted(amount, seed=seed) for amount in (quote, quote + more))
    assert cheap.draws.total is not None and dear.draws.total is not None
    assert (cheap.draws.total <= dear.draws.total + 1e-9).all()
    assert (cheap.draws.ready == dear.draws.ready).all()
    assert cheap.left is not None and dear.left is not None
    for end in ("low", "mid", "high"):
        assert getattr(cheap.left, end) >= getattr(dear.left, end)
    assert cheap.loses is not None and dear.loses is not None and cheap.loses <= dear.loses
    limits = [-1 if found.mended_limit is None or found.mended_limit.exact is None
              else found.mended_limit.exact for found in (cheap, dear)]  # fmt: skip
    assert limits[0] >= limits[1]
    assert cheap.walk_away == dear.walk_away
    for facts in (cheap, dear):
        assert facts.better is not None
        for goal in facts.better.goals.iter_rows(named=True):
            for part in ("price_now", "budget", "price_then", "better_car"):
                assert goal[f"{part}_low"] <= goal[f"{part}_mid"] <= goal[f"{part}_high"]
    assert cheap.better is not None and dear.better is not None
    assert (cheap.better.goals["budget_mid"] <= dear.better.goals["budget_mid"] + 1e-9).all()
    assert (cheap.better.goals["loses"] <= dear.better.goals["loses"]).all()


@settings(max_examples=10)
@given(st.integers(10, 60_000), st.sampled_from(["private", "auction"]), st.integers(0, 3))
def test_every_figure_is_read_from_the_same_draws(asking: int, channel: str, seed: int) -> None:
    facts = bought(asking=asking, channel=channel, schedule=SCHEDULE, seed=seed)
    draws = facts.draws
    assert draws.total is not None and facts.total is not None
    assert facts.loses == float((draws.total > draws.ready).mean())
    assert facts.standing == pytest.approx(
        float((draws.worth < float(facts.asking_all_in or 0)).mean()), abs=1 / len(draws.worth)
    )
    low, mid, high = np.quantile(draws.worth, [0.1, 0.5, 0.9], method="hazen")
    for drawn, told in ((low, facts.valuation.low), (mid, facts.valuation.mid), (high, facts.valuation.high)):
        assert drawn == pytest.approx(float(told or 0), rel=1e-4)
    assert float((draws.worth >= float(facts.walk_away.worth)).mean()) == pytest.approx(0.6, abs=0.001)


def test_the_verdict_follows_the_share_and_its_limits() -> None:
    words = [bought(asking=asked).verdict for asked in (5000, 7000, 8000, 9800, 13_000)]
    assert words == ["well below", "below", "about", "above", "well above"]
    assert bought(asking=8000, limits=(0.1, 0.2, 0.3, 0.4)).verdict == "well above"
    assert bought(asking=None, channel="auction").verdict is None


def test_a_car_below_average_is_held_against_one_that_is_ready_to_drive() -> None:
    poor = bought(asking=4000, condition_band="project")
    assert poor.loses is None and poor.left is None and "repairs" in poor.open_lines
    assert float(poor.ready.mid) == pytest.approx(BASE, rel=1e-3)
    average = bought(asking=9000)
    assert average.loses is not None and "repairs" not in average.open_lines


def test_the_same_seed_gives_the_same_facts_and_another_does_not() -> None:
    first, again, other = (bought(seed=seed).to_dict() for seed in (1, 1, 2))
    assert first == again
    assert {name for name in first if first[name] != other[name]} <= {"seed", "loses", "better", "left"}


def test_what_to_say_is_counted_from_the_records() -> None:
    said = {found.kind: found for found in bought(asking=15_000).arguments}
    recent = (
        KnownMarket()
        .sales()
        .filter(
            pl.col("model") == "Six", pl.col("outcome") == "sold", pl.col("event_date") >= date(2024, 6, 28)
        )
    )
    assert (said["model sales"].count, said["model sales"].of) == (recent.height, recent.height)
    assert (said["unsold"].count, said["gap"].since) == (2, None)
    assert said["gap"].share == pytest.approx(0.1)
    cheap = {found.kind for found in bought(asking=20).arguments}
    assert "like sales" not in cheap and "model sales" not in cheap


def test_other_cars_are_what_is_wanted() -> None:
    terms = BuyerTerms("EUR", 0.4, wanted=Wanted(drive_side="left"))
    facts = buy_car(KnownMarket(), Priced(), car_of(KnownMarket(), CAR), terms, asking=Decimal(9000))
    assert facts.alternatives.is_empty()  # of no sale the drive side is on record
    with pytest.raises(DecisionError, match="the first year is after the last"):
        Wanted(first_year=1970, last_year=1960)


def test_other_cars_are_priced_in_one_question_and_fit_the_budget() -> None:
    model = Priced()
    facts = buy_car(
        KnownMarket(),
        model,
        car_of(KnownMarket(), CAR | {"year": 1969}),
        BuyerTerms("EUR", 0.4),
        asking=Decimal(9000),
    )
    assert model.asked == 2  # the car with its bands, and all the others at once
    others = facts.alternatives
    assert set(others["at"]) == {"the price asked", "this car one band up"}
    asked = others.filter(pl.col("at") == "the price asked")
    assert asked.height > 0 and (asked["budget"] == 9000).all()
    assert (others["mid"] <= others["budget"]).all() and (others["mid"] >= 0.6 * others["budget"]).all()
    assert (others["within"] >= 0.5 - 1e-9).all()
    assert others.filter(pl.col("model") == "Six", pl.col("variant").is_null()).is_empty()
    assert others["evidence"].null_count() == 0 and (others["sales"] >= 5).all()


def test_an_offer_in_another_currency_is_turned_at_the_rate_of_the_day() -> None:
    euros = bought()
    facts = buy_car(
        KnownMarket(), Priced(), car_of(KnownMarket(), CAR), BuyerTerms("GBP", 0.6), asking=Decimal(8000)
    )
    rate = facts.conversion.units / facts.conversion.base_units
    assert float(facts.walk_away.worth) == pytest.approx(float(euros.walk_away.worth) * rate, abs=0.02)
    assert facts.conversion.rate_date <= LAST
    assert json.loads(json.dumps(facts.to_dict()))["walk_away"]["worth"] == str(facts.walk_away.worth)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"asking": None}, "no asking price: give what is asked"),
        ({"asking": "NaN"}, "asking price absurd: got NaN, expected 10 to 250,000,000"),
        ({"asking": -3}, "asking price absurd: got -3, expected 10 to"),
        ({"asking": 9_000_000_000}, "asking price absurd: got 9000000000, expected 10 to"),
        ({"limits": (0.2, 0.1, 0.5, 0.9)}, "four rising shares between 0 and 1"),
        ({"certainty": 1.0}, "certainty lies strictly between 0 and 1; got 1.0"),
        ({"opening": 0.3}, "at least as sure as the walk-away price .0.6.; got 0.3"),
        ({"year": 1901}, "no range can be given, and so no limit: nothing like it is on record"),
        ({"repairs": Decimal(-1)}, "first repairs absurd: got -1, expected 0 to"),
        ({"inspection": assess(walk())}, "the condition was said .average. and inspected"),
    ],
)
def test_what_makes_no_sense_is_refused(said: dict[str, Any], words: str) -> None:
    with pytest.raises(PricingError, match=words) as caught:
        bought(**said)
    assert "\n" not in str(caught.value)


def test_a_currency_without_a_rate_and_a_schedule_with_a_gap_are_refused() -> None:
    with pytest.raises(MoneyError, match="no rate from ATS to EUR on 2026-06-30"):
        buy_car(
            KnownMarket(), Priced(), car_of(KnownMarket(), CAR), BuyerTerms("ATS", 0.6), asking=Decimal(9000)
        )
    (charge,) = SCHEDULE.charges
    gap = Schedule("rates", "", False, (Charge(**vars(charge) | {"valid_until": date(2026, 5, 31)}),))
    with pytest.raises(MoneyError, match="no premium of 'auction' is in force on 2026-06-30"):
        bought(channel="auction", schedule=gap)


def test_an_inspection_of_another_car_is_refused() -> None:
    with pytest.raises(DecisionError, match="the inspection is of another car: its make is 'Wexcombe'"):
        bought(inspection=assess(walk()), condition_band=None)
