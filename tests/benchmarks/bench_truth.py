"""Truth and coverage: the price model against simulated markets whose truth is known, and against its own
promise.

Prints the root-mean-square error of the log mid price beside that of the same regression given the true
variances, how often 80 % intervals of condition and option effects hold the true ones, and how often ranges
hold prices in each depth class over shuffled repeats, beside the Beta band that conformal ranges promise.
Run by::

    pytest -m benchmark -n 0 -s tests/benchmarks/bench_truth.py
"""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy import stats

from data_demo.parameters import SCORE_KNOTS
from data_demo.simulated import simulate_market
from pricing.model.features.design import Design
from pricing.model.features.evidence import SaleEvidence
from pricing.model.features.spec import FeatureSpec
from pricing.model.prediction import DEPTHS
from pricing.model.price_model import PriceModel
from pricing.model.regression.elimination import solve
from pricing.model.regression.hedonic import HedonicRegression, fit_regression
from pricing.model.regression.pooling import Priors
from pricing.model.regression.rows import Rows

pytestmark = pytest.mark.benchmark
SPEC = FeatureSpec.cars()
TRUE_LEVELS = {"level": (0.45, 0.35, 0.12), "options": (0.0, 0.02, 0.0)}
"""Standard deviations that the simulator draws make, model and variant effects with
(data_demo/parameters.py)."""


def given_true_variances(design: Design, learnt: Priors) -> Priors:
    """The learnt priors with those replaced that the simulator states outright."""
    levels = learnt.levels.copy()
    for block in design.blocks:
        if block.name in TRUE_LEVELS:
            deviations = np.square(TRUE_LEVELS[block.name])[:, None]
            levels[:, block.columns] = np.where(levels[:, block.columns] > 0, deviations, 0.0)
    return replace(learnt, levels=levels)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_truth(seed: int) -> None:
    frame, truth = simulate_market(6_000, 150, seed, all_sold=True, ungraded=0.0, scored=1.0)
    frame = frame.with_columns(true=truth.rows["log_price"], sd=truth.rows["noise_sd"]).sort("event_date")
    rows = SaleEvidence.gather(frame, SPEC)
    design = Design(SPEC).fit(rows)
    encoded = design.encode(rows.features)
    structure = design.structure()
    model, found = fit_regression(encoded.X, rows.y, encoded.codes, structure)
    true = frame["true"].to_numpy()
    varying = structure.priors.varying()
    lain = Rows(encoded.X, encoded.codes, structure.tree, varying)
    weights = 1.0 / np.square(frame["sd"].to_numpy()[lain.order])
    priors = given_true_variances(design, model.estimates.priors)
    oracle = solve(lain.cross_products(weights, rows.y[lain.order]), structure.tree, priors, varying)
    error = float(np.sqrt(np.mean(np.square(found.fitted - true))))
    best = float(np.sqrt(np.mean(np.square(lain.restored(lain.fitted(oracle)) - true))))
    held = held_effects(design, model, truth.parameters.models)
    print(
        f"\nseed {seed}: error of log mid {error:.4f}, given the true variances {best:.4f}, "
        f"ratio {error / best:.3f}\n80 % intervals hold {held['condition']:.1%} of condition steps and "
        f"{held['options']:.1%} of option effects"
    )
    assert error <= 1.25 * best
    assert held["condition"] > 0.72 and held["options"] > 0.72


def held_effects(design: Design, model: HedonicRegression, models: pl.DataFrame) -> dict[str, float]:
    """Share of each model's true condition steps and option effects inside the 80 % posterior interval."""
    posterior, priors = model.estimates.posterior, model.estimates.priors
    table = design.groups.tables[1].with_row_index("code").join(models, on=["make", "model"], how="inner")
    tree = design.groups.tree
    codes = np.column_stack([tree.parents[1][table["code"]], table["code"], np.full(len(table), -1)]).astype(
        np.int64
    )
    coefficients = posterior.coefficients(codes[:, :2])
    middles = np.interp([12.5, 37.5, 62.5, 87.5], SCORE_KNOTS, np.arange(len(SCORE_KNOTS)))
    knots = np.column_stack(
        [np.interp(middles, np.arange(len(SCORE_KNOTS)), row) for row in table["condition"]]
    )
    steps, options = np.diff(knots, axis=0).T, np.array(table["options"].to_list(), dtype=float)
    reach = stats.norm.ppf(0.9)
    none_below = Priors(priors.market, np.where(np.arange(3)[:, None] < 2, priors.levels, 0.0))
    result = {}
    by_name = {block.name: block.columns for block in design.blocks}
    for name, true in (("condition", steps), ("options", options)):
        inside = []
        for place, column in enumerate(by_name[name]):
            functional = np.zeros((len(table), len(design.columns)))
            functional[:, column] = 1.0
            deviation = np.sqrt(posterior.variance(functional, codes, none_below))
            known = np.isfinite(true[:, place])
            inside.append((np.abs(coefficients[:, column] - true[:, place]) <= reach * deviation)[known])
        result[name] = float(np.concatenate(inside).mean())
    return result


def test_coverage_over_shuffled_repeats() -> None:
    """Rows in random order, no date in the spec: then scores are exchangeable and the promise is exact."""
    spec = replace(SPEC, event_date=None)
    repeats, tally = 8, []
    for seed in range(repeats):
        frame, _ = simulate_market(4_000, 80, 100 + seed, all_sold=True)
        frame = frame.sample(fraction=1.0, shuffle=True, seed=seed)
        model = PriceModel(spec).fit(frame[:2_800])
        test = frame[2_800:]
        price = test["price"].cast(pl.Float64)
        for coverage in (0.8, 0.9):
            ranges = model.price_range(test, coverage=coverage).with_columns(
                inside=(price >= pl.col("low")) & (price <= pl.col("high")), coverage=pl.lit(coverage)
            )
            tally.append(ranges.drop_nulls("mid").select("evidence", "coverage", "inside"))
    scores = model.calibration.law.count
    table = (
        pl.concat(tally)
        .with_columns(pl.col("evidence").cast(pl.Enum(DEPTHS)))
        .group_by("evidence", "coverage")
        .agg(cars=pl.len(), held=pl.col("inside").mean())
        .sort("coverage", "evidence")
    )
    print(f"\n{repeats} shuffled repeats, {scores} calibration sales each\n{table}")
    for _, coverage, cars, held in table.rows():
        k = int(np.ceil((scores + 1) * coverage))
        low, high = stats.beta(k, scores + 1 - k).ppf([0.05, 0.95])
        noise = 2.0 * np.sqrt(coverage * (1 - coverage) / cars)
        if cars >= 100:
            assert low - noise <= held <= high + noise
