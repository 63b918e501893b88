"""Regression trees as plain arrays: taken from a fitted boosting, evaluated without what grew them.

A car's leaf is found by ruling leaves out (bit masks, as in Lucchese et al. 2015, "QuickScorer"): every
threshold is asked for all trees at once, which takes a few numpy operations a column whatever the number of
trees, and is faster than following each tree for one car as for a million.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingRegressor

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
