"""What a fit says of a frame of cars: the mid of each, its spread in every state of condition, and how many
sales stand behind it, in classes with plain names."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Aligned, Bools, Floats, Ints
from pricing.model.features.design import Design, Encoded
from pricing.model.features.trees import Interactions
from pricing.model.regression.hedonic import ONE_THREAD, HedonicRegression
from pricing.model.regression.threads import shared_out
from pricing.model.statements import Heard

BATCH = 16_384
"""Cars priced at once: bounds the memory of a long list, not the answer."""


@dataclass(frozen=True)
class Fitted:
    """A regression with the design it was fitted on, the trees on what it leaves, the number of sales in
    every group of every level, the design row of the average sale, and what was made of statements, if there
    were any."""

    design: Design
    regression: HedonicRegression
    interactions: Interactions
    counts: list[Ints]
    reference: Floats
    heard: Heard | None = None

    @property
    def of_sales(self) -> HedonicRegression:
        """The regression without statements: what all market evidence that is made of sales reads."""
        return self.regression if self.heard is None else self.heard.without


@dataclass(frozen=True)
class Prediction(Aligned):
    """For every car: ``mid`` (log), ``spread`` (log, of one sale about it, what is not known of the mid
    included), calibration cell (``depth``, ``band``), the part of the mid that the trees ``learnt``, days
    ``late`` after the last sale, the group codes, and which category values are ``novel``; and the same at
    every knot of the condition scale: ``state_mid`` and ``state_spread``, cars x knots, with the ``position``
    of the car itself (ungraded: NaN).
    """

    mid: Floats
    spread: Floats
    depth: Ints
    band: Ints
    learnt: Floats
    late: Floats
    codes: Ints
    novel: Bools
    position: Floats
    state_mid: Floats
    state_spread: Floats


def predict(fitted: Fitted, features: pl.DataFrame, states: bool = True) -> Prediction:
    """Price every car, in the frame's order; in every state of condition only if ``states`` are wanted."""
    with ONE_THREAD.limit(limits=1):
        if len(features) <= BATCH:
            return _predict_batch(fitted, features, states)
        # Cars of a group together: what is known of the group is then fetched once.
        order = fitted.design.groups.order(features)
        parts = [order[start : start + BATCH] for start in range(0, len(order), BATCH)]
        batches = list(shared_out(lambda rows: _predict_batch(fitted, features[rows], states), parts))
    return Prediction.joined(batches, np.argsort(order))


def _predict_batch(fitted: Fitted, features: pl.DataFrame, states: bool) -> Prediction:
    return predict_encoded(fitted, fitted.design.encode(features), states)


def predict_encoded(fitted: Fitted, encoded: Encoded, states: bool = True) -> Prediction:
    """Price every car of which the design's row is known."""
    design, regression = fitted.design, fitted.regression
    learnt = fitted.interactions.effect(seen_by_trees(regression, encoded))
    beside = learnt + design.shift.carried(encoded.late)
    unforeseen = design.unforeseen(encoded, regression.estimates.priors)
    mid = regression.predict(encoded.X, encoded.codes)
    own, sale = regression.predict_variance(encoded.X, encoded.codes)
    spread = np.sqrt(own + unforeseen + sale)
    position = np.full(len(mid), np.nan)
    state_mid = state_spread = np.empty((len(mid), 0))
    if design.condition is not None and states:
        graded = np.flatnonzero(encoded.band < len(design.condition.bands))
        position[graded] = encoded.position[graded]
        knots = design.condition.knots
        shifts = np.zeros((len(knots), encoded.X.shape[1]))
        design.place_on_scale(shifts, knots)
        X = encoded.X[graded].astype(np.float64)
        X[:, design.scale_columns] = 0.0
        mean, own, sale = regression.predict_shifted(X, shifts, encoded.codes[graded])
        state_mid, state_spread = (np.full((len(mid), len(knots)), np.nan) for _ in range(2))
        state_mid[graded] = mean + beside[graded, None]
        state_spread[graded] = np.sqrt(own + unforeseen[graded, None] + sale)
    return Prediction(
        mid + beside,
        spread,
        depth_index(encoded.codes, fitted.counts),
        encoded.band,
        learnt,
        encoded.late,
        encoded.codes,
        encoded.novel,
        position,
        state_mid,
        state_spread,
    )


def seen_by_trees(regression: HedonicRegression, encoded: Encoded) -> Floats:
    """The car's own values and the level of its finest known group."""
    level = regression.estimates.posterior.coefficients(encoded.codes, slice(0, 1))
    return np.ascontiguousarray(np.column_stack([encoded.values, level]))


def at_position(position: Floats, knots: Floats, values: Floats) -> Floats:
    """Values between knots (cars x knots) at each car's own position, linear; NaN where that is.

    >>> at_position(np.array([0.5]), np.array([0.0, 1.0]), np.array([[2.0, 4.0]])).tolist()
    [3.0]
    """
    safe = np.nan_to_num(position)
    left = np.clip(np.searchsorted(knots, safe, side="right") - 1, 0, max(len(knots) - 2, 0))
    right = np.minimum(left + 1, len(knots) - 1)
    step = knots[right] - knots[left]
    part = np.where(step > 0, (safe - knots[left]) / np.where(step > 0, step, 1.0), 0.0)
    row = np.arange(len(safe))
    result = (1.0 - part) * values[row, left] + part * values[row, right]
    return np.where(np.isnan(position), np.nan, result)


DEPTHS: Final = ("make unknown", "model unknown", "1 to 5 sales", "6 to 20 sales", "over 20 sales")
"""Classes, least evidence first; the sales counted are those of the car's model (second level of groups, or
the only one)."""

EDGES: Final = (1, 6, 21)


def depth_index(codes: Ints, counts: list[Ints]) -> Ints:
    """Index into ``DEPTHS`` for every row of ``codes``; without groups all evidence is the market's, the
    deepest.

    >>> depth_index(np.array([[0, 0], [0, -1], [-1, -1]]), [np.array([30]), np.array([7])]).tolist()
    [3, 1, 0]
    """
    if not counts:
        return np.full(len(codes), len(DEPTHS) - 1)
    level = min(1, len(counts) - 1)
    code = codes[:, level]
    sales = np.where(code >= 0, counts[level][code], 0)
    depth = 1 + np.digitize(sales, EDGES)
    return np.where(codes[:, 0] < 0, 0, depth)
