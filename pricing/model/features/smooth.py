"""Smooth effects: hinges between knots, and numeric columns put on a scale they can be laid over."""

from dataclasses import dataclass

import numpy as np

from pricing.arrays import Floats

NUMERIC_KNOTS = 9

RARE = 5
"""An option, a category or a numeric column needs this many rows to have an effect of its own."""


def hinges(values: Floats, knots: Floats) -> Floats:
    """Ramp columns of a piecewise-linear effect: rows x (knots - 1), each from 0 to 1 between two knots.

    >>> hinges(np.array([0.5, 3.0]), np.array([0.0, 1.0, 2.0]))
    array([[0.5, 0. ],
           [1. , 1. ]])
    """
    return np.clip((values[:, None] - knots[:-1]) / np.diff(knots), 0.0, 1.0)


@dataclass(frozen=True)
class Numeric:
    """One smooth numeric column: optional logarithm, standardisation, knots on the standardised scale."""

    name: str
    log: bool
    centre: float
    scale: float
    knots: Floats
    low: float
    high: float
    has_missing: bool

    @classmethod
    def fit(cls, name: str, values: Floats) -> "Numeric | None":
        """None when the column is constant or empty. The logarithm is taken where it makes the values less
        skew."""
        seen = values[np.isfinite(values)]
        if len(seen) < RARE or seen.min() == seen.max():
            return None
        log = bool(seen.min() > 0) and abs(_skewness(np.log(seen))) < abs(_skewness(seen)) - 0.5
        z = np.log(seen) if log else seen
        centre, scale = float(np.median(z)), float(z.std())
        z = (z - centre) / scale
        knots = np.unique(np.quantile(z, np.linspace(0.0, 1.0, NUMERIC_KNOTS)))
        return cls(
            name,
            log,
            centre,
            scale,
            knots,
            float(seen.min()),
            float(seen.max()),
            bool(len(seen) < len(values)),
        )

    def standardised(self, values: Floats) -> Floats:
        """Values on the design's scale, null as 0, held within twice the span of what was seen."""
        known = np.isfinite(values)
        safe = np.where(known, np.maximum(values, 1e-9) if self.log else values, 1.0)
        z = ((np.log(safe) if self.log else safe) - self.centre) / self.scale
        span = self.knots[-1] - self.knots[0]
        return np.where(known, np.clip(z, self.knots[0] - span, self.knots[-1] + span), 0.0)


def _skewness(values: Floats) -> float:
    spread = values.std()
    return 0.0 if spread == 0 else float(np.mean(((values - values.mean()) / spread) ** 3))
