from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from pricing.decisions.approaches import Difference, difference
from pricing.decisions.valuation import value_car
from pricing.errors import EvidenceError
from pricing.evidence.comparison.comparables import MOST_DAYS_PAST, find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.words.approaches import difference_sentence
from tests.cars import car_of
from tests.small_market import common_car


@pytest.fixture(scope="module")
def told(small_market: Market) -> tuple[Any, Any]:
    model, car = load(small_market), car_of(small_market, common_car(small_market))
    indexed = ComparablesIndex.build(small_market.sales(), model, currency="EUR")
    found = find_comparables(indexed, car)
    return value_car(small_market, model, car, as_of=found.as_of), found


def test_the_difference_is_of_the_two_mids(told: tuple[Any, Any]) -> None:
    valuation, found = told
    apart = difference(valuation, found)
    assert isinstance(apart, Difference)
    assert apart.ratio == pytest.approx(float(found.mid) / float(valuation.mid))
    assert apart.comparables == found.table.height and apart.graded
    weights, gross = found.table["weight"].to_numpy(), found.table["gross_per_cent"].to_numpy()
    assert apart.gross == pytest.approx(float(weights @ gross) / 100.0)
    at_the_end = replace(found, mid=valuation.high)
    assert difference(valuation, at_the_end).share_of_range == pytest.approx(1.0)  # type: ignore[union-attr]
    below = replace(found, mid=valuation.low)
    assert difference(valuation, below).share_of_range == pytest.approx(-1.0)  # type: ignore[union-attr]


def test_without_a_range_of_the_model_there_is_no_difference(told: tuple[Any, Any]) -> None:
    valuation, found = told
    assert difference(replace(valuation, low=None, mid=None, high=None), found) is None


def test_the_words_say_what_may_be_why() -> None:
    words = difference_sentence(Difference(0.8, -1.4, 12, 0.3, True, 0.75, -0.04, False, "1 to 5 sales"))
    for part in (
        "20% less", "outside its range", "more than a close likeness bears", "75% of their weight",
        "\u22124%", "nobody graded", "1 to 5 sales",
    ):  # fmt: skip
        assert part in words


def test_an_index_that_ended_years_ago_cannot_speak(small_market: Market) -> None:
    car = car_of(small_market, common_car(small_market))
    indexed = ComparablesIndex.build(small_market.sales(), load(small_market), currency="EUR")
    assert len(indexed.dates.logs) > 1
    last = indexed.dates.last_day + timedelta(days=MOST_DAYS_PAST)
    assert np.isfinite(float(find_comparables(indexed, car, as_of=last).mid))
    with pytest.raises(EvidenceError, match=r"ends at .* and cannot speak of the time between"):
        find_comparables(indexed, car, as_of=last + timedelta(days=1))
