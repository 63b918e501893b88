"""The joint simulation: its draws are the distribution's own, and another seed changes only their order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.car import Car
from pricing.condition.assessment import assess
from pricing.decisions.amounts import quantiles
from pricing.decisions.car_price import inspected
from pricing.decisions.simulation import ALIKE, SAME_CAR, levels_of, simulate
from pricing.errors import DecisionError
from tests.condition.walks import PricedByScore, walk, walks
from tests.known_market import LAST, KnownModel

CAR = Car(make="Corvane", model="Six", year=1965, condition_band="average", channel="private")


@given(st.integers(0, 9), st.floats(0.03, 0.97))
def test_the_draws_of_a_price_are_its_distribution(seed: int, level: float) -> None:
    draws = simulate(KnownModel(), CAR, LAST, seed=seed)
    assert float(quantiles(draws.price, level)) == pytest.approx(draws.law.ppf(level).item(), rel=1e-3)
    price = draws.law.ppf(level).item()
    assert float((draws.price < price).mean()) == pytest.approx(level, abs=1.5 / len(draws.price))


@settings(max_examples=10)
@given(walks(), st.integers(0, 3))
def test_the_draws_of_an_inspected_car_are_its_mixture_and_mending_never_lowers_them(
    found: object, seed: int
) -> None:
    seen = assess(found, draws=400)  # type: ignore[arg-type]
    car = inspected(Car(make="Wexcombe", model="Teasel", year=1966), seen)
    draws = simulate(PricedByScore(), car, LAST, inspection=seen, seed=seed)
    for level in (0.1, 0.5, 0.9):
        assert float(quantiles(draws.price, level)) == pytest.approx(draws.law.ppf(level).item(), rel=5e-3)
    some = seen.states >= 3
    more = seen.states >= 1
    assert (draws.mended(some) >= draws.price).all()
    assert (draws.mended(more) >= draws.mended(some) - 1e-9).all()


def test_levels_are_even_and_share_what_they_are_said_to_share() -> None:
    levels = levels_of(20_000, 0)
    for part in (*levels.car.values(), levels.other, levels.wait):
        assert np.allclose(np.sort(part), (np.arange(20_000) + 0.5) / 20_000)
    from scipy.stats import norm, pearsonr

    def alike(one: np.ndarray, other: np.ndarray) -> float:
        return float(pearsonr(norm.ppf(one), norm.ppf(other)).statistic)

    assert alike(levels.car[None], levels.car["auction"]) == pytest.approx(SAME_CAR, abs=0.01)
    assert alike(levels.car[None], levels.other) == pytest.approx(ALIKE, abs=0.015)
    assert alike(levels.car[None], levels.wait) == pytest.approx(0.0, abs=0.02)


def test_a_seed_is_a_seed() -> None:
    first, again, other = (simulate(KnownModel(), CAR, LAST, seed=seed).price for seed in (3, 3, 4))
    assert (first == again).all()
    assert not (first == other).all()
    assert np.allclose(np.sort(first), np.sort(other))


def test_a_car_that_nobody_inspected_has_no_repairs_but_a_better_band() -> None:
    poor = Car(make="Corvane", model="Six", year=1965, condition_band="project")
    draws = simulate(KnownModel(), poor, LAST)
    with pytest.raises(DecisionError, match="was not inspected"):
        draws.mended(np.ones(1, dtype=np.bool_))
    assert (draws.in_band(KnownModel(), "average") >= draws.price).all()
    assert assess(walk()).draws.shape == (4000,)
