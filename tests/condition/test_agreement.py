import numpy as np
import pytest

from pricing.arrays import Floats
from pricing.condition.agreement import Refit, refit, weighted_kappa
from pricing.condition.assessment import assess
from pricing.condition.checks import STATES
from pricing.condition.inspection import Finding, Inspection
from pricing.condition.score import ScoreRule, band_of
from pricing.errors import InspectionError
from pricing.vocabulary import CONDITION_BANDS
from tests.condition.walks import random_walk, walk

TRUTH = ScoreRule(area_weights={"interior": 5.0, "outer body and paint": 3.0, "engine": 0.4}, exponent=3.0)


def market(cars: int) -> tuple[list[Inspection], list[str], Floats]:
    """Cars graded by a rule of their own, with an error of judgement of 4 points."""
    rng = np.random.default_rng(3)
    shares = rng.dirichlet([3, 3, 0.9, 0.3], cars)
    walks = [random_walk("monocoque", row.tolist(), rng) for row in shares]
    sound = {check.id for check in walk("monocoque").sheet.checks if check.role == "structure"}
    walks = [found.fill(Finding(check, "sound") for check in sound) for found in walks]
    scores = np.array([assess(found, rule=TRUTH, draws=100).score for found in walks])
    graded = band_of(np.clip(scores + rng.normal(0, 4, cars), 0, 100))
    return walks, [CONDITION_BANDS[place] for place in graded], scores


@pytest.fixture(scope="module")
def fitted() -> tuple[Refit, list[Inspection], Floats]:
    walks, bands, scores = market(160)
    return refit(walks[:120], bands[:120]), walks[120:], scores[120:]


def test_a_refit_agrees_better_with_the_market_on_cars_it_has_not_seen(
    fitted: tuple[Refit, list[Inspection], Floats],
) -> None:
    found = fitted[0]
    assert found.kappa_refitted > found.kappa_given
    assert found.table.sum() == found.cars == 120


def test_a_refitted_rule_scores_new_cars_closer_to_the_markets_own(
    fitted: tuple[Refit, list[Inspection], Floats],
) -> None:
    found, walks, truth = fitted
    given, after = (
        np.array([assess(car, rule=rule, draws=100).score for car in walks])
        for rule in (ScoreRule(), found.rule)
    )
    assert np.abs(after - truth).mean() < 0.6 * np.abs(given - truth).mean()


def test_a_refitted_rule_is_still_a_rule(fitted: tuple[Refit, list[Inspection], Floats]) -> None:
    rule = fitted[0].rule
    assert rule.area_weights["interior"] > 1.5 * rule.area_weights["engine"]
    scores = [assess(walk("monocoque", shell_outer_sills=state), rule=rule).score for state in STATES]
    assert scores == sorted(scores, reverse=True)


def test_kappa_by_hand() -> None:
    # two cars agree, one is a band off: observed 1/3; margins 2, 1 and 1, 2 of three give chance 5/9
    assert weighted_kappa([0, 0, 1], [0, 1, 1]) == pytest.approx(1 - (1 / 3) / (5 / 9))


@pytest.mark.parametrize(
    ("first", "second", "message"),
    [
        ([0, 1], [0], "two gradings of the same cars"),
        ([], [], "two gradings of the same cars"),
        ([0, 4], [0, 1], "outside 0 to 3"),
        ([1, 1], [1, 1], "not defined when every car is in the same class"),
    ],
)
def test_kappa_refuses_what_it_is_not_defined_for(first: list[int], second: list[int], message: str) -> None:
    with pytest.raises(InspectionError, match=message):
        weighted_kappa(first, second)


@pytest.mark.parametrize(
    ("cars", "bands", "message"),
    [
        (3, ["average"] * 3, "at least 40 inspected cars with a band, got 3"),
        (40, ["average"] * 39, "got 40 inspections and 39 bands"),
        (40, ["average"] * 39 + ["new"], "unknown condition band 'new'"),
        (40, ["average"] * 40, "at least two bands, got average alone"),
    ],
)
def test_a_refit_that_makes_no_sense_is_refused(cars: int, bands: list[str], message: str) -> None:
    with pytest.raises(InspectionError, match=message):
        refit([walk(state="worn")] * cars, bands)
