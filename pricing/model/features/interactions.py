"""What a sum of effects misses: boosted trees on what the regression leaves, kept only if they win on later
sales.

The trees see the car as it is (values, not hinges; no date, so that they cannot chase the market) and the
level of its group, and their effect never falls as condition improves. The number of rounds is the one that
does best on the later part of the rows they are given; when none gains at least ``LEAST_GAIN`` there are no
trees. They are grown by scikit-learn's histogram gradient boosting and kept as plain arrays (``trees``), so
that a fit opens under any version of it.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from sklearn.ensemble import HistGradientBoostingRegressor
from threadpoolctl import ThreadpoolController

from pricing.arrays import Floats
from pricing.model.features.trees import LeafMasks, Nodes, grown_by

ROUNDS: Final = 120
FIRST_ROUNDS: Final = 20
"""Rounds after which there are no more if none of them gained anything on the later rows."""

LATER: Final = 0.2
"""Latest share of the rows on which the number of rounds is chosen."""

LEAST_GAIN: Final = 0.003
"""Share of the weighted squared residual that the trees must take away on the later rows."""

FEWEST_ROWS: Final = 500
MOST_ROWS: Final = 100_000

BINS: Final = 63
"""Intervals into which a column's values are laid before trees are grown: enough for a correction, and a
quarter of the work of scikit-learn's 255."""

SHARED_ROWS: Final = 50_000
"""Rows from which trees are grown on several threads: with fewer the threads wait for each other."""

_THREADS: Final = ThreadpoolController()  # once scikit-learn's own threads are loaded, else it misses them


@dataclass(frozen=True)
class Interactions:
    """Trees whose sum, with the ``baseline``, is added to the regression's log price."""

    baseline: float
    trees: tuple[Nodes, ...]

    @classmethod
    def none(cls) -> "Interactions":
        """No trees: nought for every car."""
        return cls(0.0, ())

    @classmethod
    def fit(
        cls,
        values: Floats,
        residual: Floats,
        weights: Floats,
        rising: list[int],
        seed: int,
        rounds: int | None,
    ) -> "Interactions":
        """From rows in order of date; ``rising`` are the places of the columns whose effect may only rise.

        ``rounds`` skips the choice of their number, as in a refit.
        """
        if len(residual) < FEWEST_ROWS:
            return cls.none()
        with _THREADS.limit(limits=None if len(residual) >= SHARED_ROWS else 1):
            if rounds is None:
                rounds = _best_rounds(values, residual, weights, rising, seed)
            if not rounds:
                return cls.none()
            model = _boosting(values.shape[1], rising, seed, rounds)
            chosen = _spread_out(len(residual))
            model.fit(values[chosen], residual[chosen], sample_weight=weights[chosen])
        return cls(float(np.average(residual[chosen], weights=weights[chosen])), grown_by(model))

    def effect(self, values: Floats) -> Floats:
        """Log price added for every row."""
        return self.baseline + self._masks.total(values)

    @cached_property
    def _masks(self) -> LeafMasks:
        return LeafMasks(self.trees)


def _boosting(columns: int, rising: list[int], seed: int, rounds: int) -> HistGradientBoostingRegressor:
    return HistGradientBoostingRegressor(
        learning_rate=0.05,
        max_bins=BINS,
        max_iter=rounds,
        max_leaf_nodes=15,
        min_samples_leaf=20,
        l2_regularization=10.0,
        monotonic_cst=[int(column in rising) for column in range(columns)],
        early_stopping=False,
        random_state=seed,
    )


def _best_rounds(values: Floats, residual: Floats, weights: Floats, rising: list[int], seed: int) -> int:
    cut = int(len(residual) * (1.0 - LATER))
    chosen = _spread_out(cut)
    later = slice(cut, None, max(1, (len(residual) - cut) // MOST_ROWS))
    y, w = residual[later], weights[later]
    without = float(np.average(np.square(y), weights=w))
    model = _boosting(values.shape[1], rising, seed, FIRST_ROUNDS).set_params(warm_start=True)
    for rounds in (FIRST_ROUNDS, ROUNDS):
        model.set_params(max_iter=rounds)
        model.fit(values[chosen], residual[chosen], sample_weight=weights[chosen])
        losses = [
            float(np.average(np.square(y - step), weights=w)) for step in model.staged_predict(values[later])
        ]
        best = int(np.argmin(losses))
        if losses[best] >= without:
            return 0
    return best + 1 if losses[best] < (1.0 - LEAST_GAIN) * without else 0


def _spread_out(rows: int) -> slice:
    """All rows, or ``MOST_ROWS`` or somewhat more of them, evenly."""
    return slice(0, rows, max(1, rows // MOST_ROWS))
