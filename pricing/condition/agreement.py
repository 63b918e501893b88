"""How well the score rule agrees with the bands a market itself has given, and the rule refitted to them.

Agreement is weighted kappa (Cohen 1968) with quadratic weights. The refit is an ordered probit: the band of a
car is the one its score falls in after a normal error of judgement, so cut points stay the edges of the
bands. What is fitted, all positive so that the rule stays monotone: a factor on the weights of each area, the
exponent, a factor on the structural load, and the deviation of judgement, each drawn towards the rule that
was given.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import log_ndtr, ndtr

from pricing.arrays import Bools, Floats, Ints
from pricing.condition.checks import AREAS
from pricing.condition.inspection import Inspection
from pricing.condition.score import Items, ScoreRule, band_of
from pricing.errors import InspectionError
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

PRIOR_DEVIATION: Final = 0.5
"""Deviation of the log of every fitted factor about the rule that was given."""

FEWEST: Final = 40
"""Inspections below which nothing is refitted."""

FOLDS: Final = 5


def weighted_kappa(first: ArrayLike, second: ArrayLike, classes: int = len(CONDITION_BANDS)) -> float:
    """Agreement of two ordered gradings of the same cars beyond chance, 1 for perfect, 0 for chance.

    Both hold class indexes from 0. With observed shares ``o``, shares expected from the margins ``e`` and
    weights ``(i - j)**2``, kappa is ``1 - sum(w o) / sum(w e)``. Raises ``InspectionError`` for unequal
    lengths, no cars, an index out of range, or when all cars are in one class, where kappa is not defined.

    >>> weighted_kappa([0, 1, 2, 3], [0, 1, 2, 3]), weighted_kappa([0, 0, 3, 3], [0, 3, 0, 3])
    (1.0, 0.0)
    """
    left, right = np.asarray(first, dtype=np.intp), np.asarray(second, dtype=np.intp)
    if left.shape != right.shape or left.ndim != 1 or not left.size:
        raise InspectionError(
            f"kappa needs two gradings of the same cars, got {left.shape} and {right.shape}"
        )
    if min(left.min(), right.min()) < 0 or max(left.max(), right.max()) >= classes:
        raise InspectionError(f"kappa: a class index lies outside 0 to {classes - 1}")
    observed = np.zeros((classes, classes))
    np.add.at(observed, (left, right), 1.0 / left.size)
    expected = np.outer(observed.sum(axis=1), observed.sum(axis=0))
    weights = np.subtract.outer(np.arange(classes), np.arange(classes)) ** 2.0
    chance = float((weights * expected).sum())
    if chance == 0:
        raise InspectionError("kappa is not defined when every car is in the same class")
    return 1.0 - float((weights * observed).sum()) / chance


@dataclass(frozen=True, eq=False)
class Refit:
    """A rule refitted to a market's bands.

    ``kappa_given`` is the agreement of the rule as given; ``kappa_refitted`` that of rules refitted without
    the car they grade (cross-validated), so it may be the lower one; ``cars`` how many. ``table`` counts cars
    by the band the market gave (rows) and the refitted band (columns), out of fold.
    """

    rule: ScoreRule
    kappa_given: float
    kappa_refitted: float
    cars: int
    table: Ints


def refit(
    inspections: Sequence[Inspection], bands: Sequence[str], *, rule: ScoreRule | None = None, seed: int = 0
) -> Refit:
    """Refit a rule to inspections of cars whose band the market gave.

    Raises ``InspectionError`` for fewer than 40 cars, an unknown band, or cars that are all in one band.
    """
    prior = ScoreRule() if rule is None else rule
    if len(inspections) != len(bands):
        raise InspectionError(
            f"got {len(inspections)} inspections and {len(bands)} bands, expected as many of each"
        )
    if len(bands) < FEWEST:
        raise InspectionError(f"a refit needs at least {FEWEST} inspected cars with a band, got {len(bands)}")
    if unknown := sorted(set(bands) - set(CONDITION_BANDS)):
        raise InspectionError(f"unknown condition band {unknown[0]!r}: expected {', '.join(CONDITION_BANDS)}")
    if len(set(bands)) < 2:
        raise InspectionError(f"a refit needs cars in at least two bands, got {bands[0]} alone")
    grades = np.array([CONDITION_BANDS.index(band) for band in bands])
    cars = _Damage.of(inspections, prior)
    fold = np.random.default_rng(seed).permutation(np.arange(len(grades)) % FOLDS)
    graded = np.empty(len(grades), dtype=np.intp)
    for number in range(FOLDS):
        held = fold == number
        fitted = _fit(cars.take(~held), grades[~held], prior)
        graded[held] = band_of(cars.take(held).score(fitted, prior))
    table = np.zeros((len(CONDITION_BANDS), len(CONDITION_BANDS)), dtype=np.int64)
    np.add.at(table, (grades, graded), 1)
    final = np.exp(_fit(cars, grades, prior))
    scored = [AREAS[place] for place in cars.areas]
    return Refit(
        rule=replace(
            prior,
            area_weights={
                area: prior.area_weights.get(area, 1.0) * float(factor)
                for area, factor in zip(scored, final, strict=False)
            },
            exponent=prior.exponent * float(final[-3]),
            structural_load=tuple(
                load * float(final[-2] / final[scored.index("structure")]) for load in prior.structural_load
            ),
            judgement_deviation=max(prior.judgement_deviation, 1.0) * float(final[-1]),
        ),
        kappa_given=weighted_kappa(grades, band_of(cars.score(np.zeros(len(final)), prior))),
        kappa_refitted=weighted_kappa(grades, graded),
        cars=len(grades),
        table=table,
    )


@dataclass(frozen=True, eq=False)
class _Damage:
    """Expected wear, weight and structural load of many cars: shapes (cars, areas), (cars, areas) and
    (cars,)."""

    wear: Floats
    weight: Floats
    load: Floats
    areas: NDArray[np.intp]

    @classmethod
    def of(cls, inspections: Sequence[Inspection], rule: ScoreRule) -> "_Damage":
        wear = np.zeros((len(inspections), len(AREAS)))
        weight = np.zeros_like(wear)
        load = np.zeros(len(inspections))
        for row, inspection in enumerate(inspections):
            items = Items.of(inspection, rule)
            deficiency, burden = items.expected(rule)
            wear[row] = np.bincount(items.areas, deficiency * items.weights, len(AREAS))
            checks = np.arange(len(items.ids)) < len(inspection.sheet.scored)
            weight[row] = np.bincount(items.areas, items.weights * checks, len(AREAS))
            load[row] = (burden * items.weights * items.structural).sum()
        used = np.flatnonzero(weight.any(axis=0))
        return cls(wear[:, used], weight[:, used], load, used)

    def take(self, chosen: Bools) -> "_Damage":
        return replace(self, wear=self.wear[chosen], weight=self.weight[chosen], load=self.load[chosen])

    def score(self, logs: Floats, rule: ScoreRule) -> Floats:
        """Scores under log factors: one an area, then exponent, structural load and judgement."""
        factor = np.exp(logs)
        areas = factor[: len(self.areas)]
        changed = replace(rule, exponent=rule.exponent * float(factor[-3]))
        return changed.score(self.wear @ areas / (self.weight @ areas), self.load * factor[-2])


def _fit(cars: _Damage, grades: NDArray[np.intp], rule: ScoreRule) -> Floats:
    """Log factors of highest posterior density."""
    edges = np.array([-np.inf, *BAND_EDGES[1:-1], np.inf])
    deviation = max(rule.judgement_deviation, 1.0)

    def loss(logs: Floats) -> float:
        score, spread = cars.score(logs, rule), deviation * np.exp(logs[-1])
        upper, lower = (edges[grades + 1] - score) / spread, (edges[grades] - score) / spread
        flip = lower > 0  # the difference of two tails is exact only in the lower one
        upper, lower = np.where(flip, -lower, upper), np.where(flip, -upper, lower)
        likelihood = log_ndtr(upper) + np.log1p(
            -np.minimum(ndtr(lower) / np.maximum(ndtr(upper), 1e-300), 1 - 1e-12)
        )
        return float((logs**2).sum() / (2 * PRIOR_DEVIATION**2) - likelihood.sum())

    start = np.zeros(len(cars.areas) + 3)
    start[-1] = 1.0
    return np.asarray(minimize(loss, start, method="L-BFGS-B", bounds=[(-4.0, 4.0)] * len(start)).x)
