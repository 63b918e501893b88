"""What a sum of effects misses: boosted trees on what the regression leaves, kept only if they win on later
sales.

The trees see the car as it is (values, not hinges; no date, so that they cannot chase the market) and the
level of its group, and their effect never falls as condition improves. The number of rounds is the one that
does best on the later part of the rows they are given; when none gains at least ``LEAST_GAIN`` there are no
trees. They are grown by scikit-learn's histogram gradient boosting and kept as plain arrays, evaluated
without what grew them, so that a fit opens under any version of it.

A car's leaf is found by ruling leaves out (bit masks, as in Lucchese et al. 2015, "QuickScorer"): every
threshold is asked for all trees at once, which takes a few numpy operations a column whatever the number of
trees, and is faster than following each tree for one car as for a million.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingRegressor
from threadpoolctl import ThreadpoolController

from pricing.arrays import Floats

MOST_LEAVES: Final = 16
"""Of one tree: as many as a mask has bits."""

NODE: Final = np.dtype(
    [("column", "<i4"), ("threshold", "<f8"), ("missing_left", "?"), ("left", "<i4"), ("right", "<i4"),
     ("value", "<f8"), ("is_leaf", "?")]
)  # fmt: skip
"""A node: a value at most ``threshold`` goes ``left``, a missing one where ``missing_left`` says; a leaf has
a ``value``. Children stand behind their parent."""

_NAMES: Final = {"column": "feature_idx", "threshold": "num_threshold", "missing_left": "missing_go_to_left"}
_ROWS: Final = 4_096
"""Rows at once, whose masks stay in the processor's cache."""

Nodes = NDArray[Any]


def grown_by(model: HistGradientBoostingRegressor) -> tuple[Nodes, ...]:
    """The trees of a fitted boosting of one output, without categories."""
    return tuple(_plain(step[0].nodes) for step in model._predictors)


def _plain(nodes: Nodes) -> Nodes:
    plain = np.empty(len(nodes), NODE)
    for name in NODE.names or ():
        plain[name] = nodes[_NAMES.get(name, name)]
    return plain


class LeafMasks:
    """Trees laid out for evaluation.

    For each column that any tree asks, ``tables`` holds a row for every interval between its thresholds, and
    one for a missing value: of each tree the leaves that a value there leaves possible, as bits.

    Raises:
        ValueError: a tree has more than ``MOST_LEAVES`` leaves, or a child before its parent.
    """

    def __init__(self, trees: Sequence[Nodes]) -> None:
        nodes = np.concatenate([np.empty(0, NODE), *trees])
        tree = np.repeat(np.arange(len(trees)), [len(tree) for tree in trees])
        leaves_below = [_leaves_below(tree) for tree in trees]
        below = np.concatenate([np.empty(0, np.uint16), *leaves_below])
        first = np.cumsum([0, *(len(tree) for tree in trees)])[tree]
        self.every_leaf = np.array([leaves[0] for leaves in leaves_below], np.uint16)
        self.leaf_values = np.zeros((len(trees), MOST_LEAVES))
        leaves = nodes["is_leaf"]
        self.leaf_values[tree[leaves], _bit(below[leaves])] = nodes["value"][leaves]
        self.thresholds: dict[int, Floats] = {}
        self.tables: dict[int, NDArray[np.uint16]] = {}
        for column in np.unique(nodes["column"][~leaves]).tolist():
            splits = np.flatnonzero(~leaves & (nodes["column"] == column))
            limits = np.unique(nodes["threshold"][splits])
            table = np.tile(self.every_leaf, (len(limits) + 2, 1))
            for split in splits:
                node, place = nodes[split], np.searchsorted(limits, nodes["threshold"][split]) + 1
                left, right = below[first[split] + node["left"]], below[first[split] + node["right"]]
                table[:place, tree[split]] &= ~right
                table[place:-1, tree[split]] &= ~left
                table[-1, tree[split]] &= ~(right if node["missing_left"] else left)
            self.thresholds[column], self.tables[column] = limits, table

    def total(self, values: Floats) -> Floats:
        """The sum of all trees for every row of ``values`` (rows, columns); NaN is a missing value."""
        starts = range(0, len(values), _ROWS)
        return np.concatenate(
            [np.empty(0), *(self._total(values[start : start + _ROWS]) for start in starts)]
        )

    def _total(self, values: Floats) -> Floats:
        possible = np.tile(self.every_leaf, (len(values), 1))
        for column, limits in self.thresholds.items():
            place = np.searchsorted(limits, values[:, column])
            place[np.isnan(values[:, column])] = len(limits) + 1
            possible &= self.tables[column][place]
        starts = MOST_LEAVES * np.arange(len(self.leaf_values))
        totals: Floats = self.leaf_values.ravel()[starts + _bit(possible)].sum(axis=1)
        return totals


def _leaves_below(nodes: Nodes) -> NDArray[np.uint16]:
    """Of every node of a tree the leaves it leads to, as bits in the order of the leaves."""
    inner = np.flatnonzero(~nodes["is_leaf"])
    children = (
        np.minimum(nodes["left"], nodes["right"])[inner],
        np.maximum(nodes["left"], nodes["right"])[inner],
    )
    if (
        len(nodes) - len(inner) > MOST_LEAVES
        or (children[0] <= inner).any()
        or (children[1] >= len(nodes)).any()
    ):
        raise ValueError(f"no tree of at most {MOST_LEAVES} leaves, with children behind their parents")
    below = np.where(nodes["is_leaf"], 1 << (np.cumsum(nodes["is_leaf"]) - 1), 0).astype(np.uint16)
    for node in inner[::-1]:
        below[node] = below[nodes["left"][node]] | below[nodes["right"][node]]
    return below


def _bit(mask: NDArray[np.uint16]) -> NDArray[np.uint8]:
    """The place of the one bit of a mask."""
    place: NDArray[np.uint8] = np.bitwise_count(mask - np.uint16(1))
    return place


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
