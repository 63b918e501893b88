"""What a price model would say of a sale that it had not seen: each sale's own pull on it taken back.

Leaving one observation out of a (posterior) least-squares fit moves the coefficients by ``-V x w e / (1 -
h)``, ``V`` being their covariance, ``w`` the observation's weight, ``e`` its residual and ``h = w x' V x``
its leverage (Cook and Weisberg 1982). The variances that the fit learnt, and its trees, stay as they are.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from pricing.arrays import Floats, Ints
from pricing.evidence.comparison.term_effects import TermEffects
from pricing.model.features.design import Encoded
from pricing.model.regression.pooling import Posterior

MOST_LEVERAGE: Final = 0.95
"""A sale that holds its own fitted value more than this is taken to hold it so much: all that the model knows
of its group is the sale itself."""


@dataclass(frozen=True)
class OwnInfluence:
    """Of some sales: what each moves a prediction by, for one unit of their covariance (``pull``, n), the
    covariance with the market's coefficients (``market``, n x p) and with the deviations of the sale's own
    groups (``levels``, of each level n x its varying columns)."""

    pull: Floats
    market: Floats
    levels: list[Floats]

    @classmethod
    def of(cls, effects: TermEffects, sales: Encoded, log_prices: Floats, seen: Floats) -> "OwnInfluence":
        """From the sales on their own days; ``seen`` is 1 where the model was fitted to the sale, else 0."""
        regression = effects.regression
        posterior = effects.posterior
        own, spread = regression.predict_variance(sales.X, sales.codes)
        residual = log_prices - regression.predict(sales.X, sales.codes)
        degrees_of_freedom = regression.estimates.degrees_of_freedom
        heavy = np.square(residual) / spread
        latent = (
            np.ones(len(spread))
            if np.isinf(degrees_of_freedom)
            else (degrees_of_freedom + 1.0) / (degrees_of_freedom + heavy)
        )
        weight = latent / spread
        leverage = np.minimum(weight * own, MOST_LEVERAGE)
        parts = Parts.of(posterior, sales)
        levels = [
            _times(part, posterior.levels[k].spread, sales.codes[:, k]) for k, part in enumerate(parts.levels)
        ]
        return cls(seen * weight * residual / (1.0 - leverage), parts.market @ posterior.covariance, levels)

    def told(self, sales: Ints, subjects: Ints, others: Ints, cars: "Parts") -> Floats:
        """What each of ``sales`` (m places here) has added to the log price of a subject less that of another
        car (m places among ``cars``)."""
        apart = cars.market[subjects] - cars.market[others]
        covariance = np.einsum("mp,mp->m", self.market[sales], apart)
        for level, own in enumerate(self.levels):
            part, codes = cars.levels[level], cars.codes[:, level]
            same = codes[subjects] == codes[others]
            apart = part[subjects] - same[:, None] * part[others]
            covariance += np.einsum("mi,mi->m", own[sales], apart)
        return np.asarray(self.pull[sales] * covariance)


@dataclass(frozen=True)
class Parts:
    """Predictions as sums of independent parts: what each takes of the deviations of the car's group at every
    level given those above (``levels``, n x its varying columns), and of the market's coefficients
    (``market``, n x p); ``codes`` of the groups (n x levels)."""

    levels: list[Floats]
    market: Floats
    codes: Ints

    @classmethod
    def of(cls, posterior: Posterior, cars: Encoded) -> "Parts":
        """From the finest groups up, each deviation handing on what it owes to the coefficients above it."""
        rest = np.array(cars.X, dtype=np.float64)
        levels: list[Floats] = []
        for level in range(len(posterior.levels) - 1, -1, -1):
            current = posterior.levels[level]
            part = rest[:, current.columns]
            levels.append(part)
            for group, rows in _groups(cars.codes[:, level]):
                rest[rows] -= part[rows] @ current.gain[group]
        return cls(levels[::-1], rest, cars.codes)


def _times(part: Floats, matrices: Floats, codes: Ints) -> Floats:
    """Every row times the matrix of its group; nought for a group never seen."""
    result = np.zeros_like(part)
    for group, rows in _groups(codes):
        result[rows] = part[rows] @ matrices[group]
    return result


def _groups(codes: Ints) -> Iterator[tuple[int, Ints]]:
    """Every known group with its rows."""
    order = np.argsort(codes, kind="stable")
    found, starts = np.unique(codes[order], return_index=True)
    for group, rows in zip(found, np.split(order, starts[1:]), strict=True):
        if group >= 0:
            yield int(group), rows
