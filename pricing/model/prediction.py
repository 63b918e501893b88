"""What a fit says of a frame of cars, before calibration."""

from dataclasses import dataclass, fields

import numpy as np
import polars as pl

from pricing.model.depth import depth_index
from pricing.model.design import Design, Encoded
from pricing.model.hedonic import ONE_THREAD, HedonicRegression
from pricing.model.interactions import Interactions
from pricing.model.pooling import Floats, Ints
from pricing.model.threads import shared_out

BATCH = 16_384
"""Cars priced at once: bounds the memory of a long list, not the answer."""


@dataclass(frozen=True)
class Fitted:
    """A regression with the design it was fitted on, the trees on what it leaves, the number of sales in
    every group of every level, and the design row of the average sale."""

    design: Design
    regression: HedonicRegression
    interactions: Interactions
    counts: list[Ints]
    reference: Floats


@dataclass(frozen=True)
class Prediction:
    """For every car: ``mid`` (log), ``spread`` (log, of one sale about it, what is not known of the mid
    included), calibration cell (``depth``, ``band``), the part of the mid that the trees ``learnt``, and
    the group codes."""

    mid: Floats
    spread: Floats
    depth: Ints
    band: Ints
    learnt: Floats
    codes: Ints

    @classmethod
    def joined(cls, parts: "list[Prediction]", order: Ints) -> "Prediction":
        """The predictions of several batches as one, its rows taken in ``order``."""
        names = [field.name for field in fields(cls)]
        return cls(**{name: np.concatenate([getattr(part, name) for part in parts])[order] for name in names})


def predict(fitted: Fitted, features: pl.DataFrame) -> Prediction:
    """Price every car, in the frame's order."""
    with ONE_THREAD.limit(limits=1):
        if len(features) <= BATCH:
            return _predict_batch(fitted, features)
        # Cars of a group together: what is known of the group is then fetched once.
        order = fitted.design.groups.order(features)
        parts = [order[start : start + BATCH] for start in range(0, len(order), BATCH)]
        found = list(shared_out(lambda rows: _predict_batch(fitted, features[rows]), parts))
    return Prediction.joined(found, np.argsort(order))


def _predict_batch(fitted: Fitted, features: pl.DataFrame) -> Prediction:
    return predict_encoded(fitted, fitted.design.encode(features))


def predict_encoded(fitted: Fitted, encoded: Encoded) -> Prediction:
    """Price every car of which the design's row is known."""
    design, regression = fitted.design, fitted.regression
    mid = regression.predict(encoded.X, encoded.codes)
    own, sale = regression.predict_variance(encoded.X, encoded.codes)
    learnt = fitted.interactions.effect(seen_by_trees(regression, encoded))
    own = own + design.unforeseen(encoded, regression.estimates_.priors)
    depth = depth_index(encoded.codes, fitted.counts)
    return Prediction(mid + learnt, np.sqrt(own + sale), depth, encoded.band, learnt, encoded.codes)


def seen_by_trees(regression: HedonicRegression, encoded: Encoded) -> Floats:
    """The car's own values and the level of its finest known group."""
    level = regression.estimates_.posterior.coefficients(encoded.codes, slice(0, 1))
    return np.ascontiguousarray(np.column_stack([encoded.values, level]))
