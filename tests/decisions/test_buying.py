"""A buyer's facts against a price model whose answers are known by hand."""

import json
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
from pricing.condition.inspection import Inspection
from pricing.decisions.buying import BuyerTerms, Buying, buy_car
from pricing.decisions.gap import Gap, asking_gap_of
from pricing.errors import DecisionError, MoneyError
from pricing.model.distribution import PriceDistribution
from pricing.money.charges import Charge, Schedule, Tier
from pricing.vocabulary import CONDITION_BANDS
from tests.cars import car_of
from tests.condition.walks import walk
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
    options = {"schedule": said.pop("schedule", None), "inspection": said.pop("inspection", None)}
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
    assert spent.total == Decimal(10_000)


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
    from dataclasses import replace

    named = replace(result.inspection, car={})
    return bought(inspection=replace(result, inspection=named), repairs=Decimal(800), **car)


def test_repairs_of_what_an_inspection_found_are_shown_and_not_counted_twice() -> None:
    facts = _inspected(assess(walk(state="worn")), {"condition_band": None})
    row = facts.day_one.filter(pl.col("line") == "first repairs").row(0, named=True)
    assert (row["amount"], row["counted"]) == (800, False)
    assert facts.walk_away.exact == facts.walk_away.worth


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
    budget = float(facts.walk_away.price or 0)
    others = facts.elsewhere
    assert others.height > 0
    assert (others["mid"] <= budget).all() and (others["mid"] >= 0.6 * budget).all()
    assert (others["within"] >= 0.5).all()
    assert others.filter(pl.col("model") == "Six", pl.col("variant").is_null()).is_empty()
    places = [CONDITION_BANDS.index(band) for band in others["condition_band"]]
    assert places == sorted(places, reverse=True)


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
        ({"asking": "NaN"}, "asking price must be above nought; got NaN"),
        ({"asking": -3}, "asking price must be above nought; got -3"),
        ({"certainty": 1.0}, "certainty lies strictly between 0 and 1; got 1.0"),
        ({"opening": 0.3}, "at least as sure as the walk-away price .0.6.; got 0.3"),
        ({"year": 1901}, "no range can be given, and so no limit: nothing like it is on record"),
        ({"repairs": Decimal(-1)}, "first repairs: expected an amount"),
        ({"inspection": assess(walk())}, "the condition was said .average. and inspected"),
    ],
)
def test_what_makes_no_sense_is_refused(said: dict[str, Any], words: str) -> None:
    with pytest.raises(DecisionError, match=words) as caught:
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
