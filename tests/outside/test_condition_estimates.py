"""Three-point estimates, sums of them, and weighted kappa against published formulas and general
libraries."""

from typing import Any

import numpy as np
import pytest
from scipy import stats
from sklearn.metrics import cohen_kappa_score

from pricing.condition.agreement import weighted_kappa
from pricing.condition.assessment import assess
from pricing.condition.budget import repair_budget
from pricing.condition.repairs import pert_mean, pert_quantile, price_repairs
from tests.condition.walks import catalogue, walk

ESTIMATES = [(0.0, 3.0, 6.0), (2.0, 5.0, 14.0), (10.0, 10.0, 40.0), (1.0, 9.0, 9.0)]


def four_shape_beta(low: float, likely: float, high: float) -> Any:
    """The four-shape beta of the PERT literature, by scipy."""
    width = high - low
    return stats.beta(1 + 4 * (likely - low) / width, 1 + 4 * (high - likely) / width, loc=low, scale=width)


@pytest.mark.parametrize("estimate", ESTIMATES)
def test_the_mean_is_the_published_formula_and_scipys(estimate: tuple[float, float, float]) -> None:
    # Malcolm, Roseboom, Clark and Fazar 1959, from memory: mean (a + 4m + b) / 6
    low, likely, high = estimate
    assert pert_mean(low, likely, high) == pytest.approx((low + 4 * likely + high) / 6)
    assert pert_mean(low, likely, high) == pytest.approx(four_shape_beta(*estimate).mean())


@pytest.mark.parametrize("estimate", ESTIMATES)
def test_quantiles_are_scipys(estimate: tuple[float, float, float]) -> None:
    levels = np.linspace(0, 1, 21)
    assert pert_quantile(levels, *estimate) == pytest.approx(four_shape_beta(*estimate).ppf(levels))


def test_the_budget_of_independent_lines_is_scipys_sum() -> None:
    found = walk(
        electrics_charging="needs repair", interior_belts="needs repair", brakes_pipes="needs repair"
    )
    demo = catalogue()
    budget = repair_budget(price_repairs(assess(found), demo, country="DE", correlation=0.0))
    rng = np.random.default_rng(4)
    tax = 1 + float(demo.tax_rate("DE"))
    total = np.zeros(400_000)
    for name in ("charging_overhaul", "seat_belts", "brake_pipes_and_hoses"):
        job = demo.job(name)
        rate = float(demo.labour_rate("DE", job.kind))
        total += tax * four_shape_beta(*map(float, job.parts)).rvs(len(total), random_state=rng)
        total += tax * rate * four_shape_beta(*map(float, job.hours)).rvs(len(total), random_state=rng)
    for ours, level in ((budget.p10, 0.1), (budget.p50, 0.5), (budget.p80, 0.8)):
        # a sample quantile of 4,000 draws is off by less than 5 standard errors
        density = stats.gaussian_kde(total[:20_000])(np.quantile(total, level))[0]
        error = np.sqrt(level * (1 - level) / len(budget.draws)) / density
        assert float(ours) == pytest.approx(np.quantile(total, level), abs=5 * error)


@pytest.mark.parametrize("seed", range(5))
def test_weighted_kappa_is_scikit_learns(seed: int) -> None:
    rng = np.random.default_rng(seed)
    first = rng.integers(0, 4, 200)
    second = np.clip(first + rng.integers(-1, 2, 200), 0, 3)
    assert weighted_kappa(first, second) == pytest.approx(
        cohen_kappa_score(first, second, weights="quadratic")
    )
