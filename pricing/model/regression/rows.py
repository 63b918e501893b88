"""The rows of a design, sorted by finest group, and the sums over groups that the regression needs."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pricing.arrays import Floats, Ints
from pricing.model.regression.pooling import CrossProducts, Posterior, Priors, Tree
from pricing.model.regression.threads import shared_out

BATCH = 32_768
"""Rows worked on at once: bounds memory, and is what the threads share out. The order of the sums, and with
it every digit, depends on this and not on the number of threads."""


@dataclass(frozen=True)
class RowBatch:
    """A run of rows, and for every level the groups it holds (all of them, or a part of one) with their
    rows."""

    rows: slice
    parts: list[list[tuple[int, slice]]]


class Rows:
    """Design rows laid out group by group, so that every sum over a group is one product of matrices.

    ``X`` is rows x columns, ``codes`` rows x levels (every row's groups are known), ``varying`` the columns
    that vary at each level. Results are in sorted order; :meth:`restored` gives them back in the caller's.
    """

    def __init__(self, X: NDArray[Any], codes: Ints | None, tree: Tree, varying: list[Ints]) -> None:
        depth = len(tree.parents)
        finest = np.zeros(len(X), dtype=np.int64) if codes is None or not depth else codes[:, -1]
        self.order: NDArray[np.intp] = np.argsort(finest, kind="stable")
        in_order = bool(np.all(finest[1:] >= finest[:-1]))
        self.X = X if in_order else X[self.order]  # ten million rows would not fit in memory twice
        self.varying = varying
        self.finest = finest[self.order]
        self.ancestors = [tree.ancestors(level, depth - 1) for level in range(depth)]
        self.bounds = [
            np.searchsorted(of_finest[self.finest], np.arange(size + 1))
            for of_finest, size in zip(self.ancestors, tree.sizes, strict=True)
        ]
        self.batches = [
            RowBatch(
                slice(start, min(start + BATCH, len(X))),
                [list(_parts(bounds, start, min(start + BATCH, len(X)))) for bounds in self.bounds],
            )
            for start in range(0, len(X), BATCH)
        ]
        self.sizes = np.diff(self.bounds[-1]) if depth else np.array([len(X)])

    def columns(self, columns: Ints, varying: list[Ints]) -> "Rows":
        """The same rows with some of the columns."""
        other = object.__new__(Rows)
        other.__dict__.update(self.__dict__)
        other.varying = varying
        other.X = self.X[:, columns]
        return other

    def restored(self, values: Floats) -> Floats:
        """Sorted values in the caller's order."""
        result = np.empty_like(values)
        result[self.order] = values
        return result

    def cross_products(self, weights: Floats, y: Floats) -> CrossProducts:
        """Weighted sums of squares and products at every level."""
        p = self.X.shape[1]
        root = np.sqrt(weights)
        target = root * y
        market, right = np.zeros((p, p)), np.zeros(p)
        sizes = [(len(bounds) - 1, len(S)) for bounds, S in zip(self.bounds, self.varying, strict=True)]
        levels, rights = [np.zeros((*size, p)) for size in sizes], [np.zeros(size) for size in sizes]

        def products(batch: RowBatch) -> tuple[Floats, Floats, list[list[tuple[int, Floats, Floats]]]]:
            scaled = self.X[batch.rows] * root[batch.rows, None]  # double precision, however X is kept
            wanted = target[batch.rows]
            own = []
            for S, parts in zip(self.varying, batch.parts, strict=True):
                narrow = scaled[:, S]
                own.append(
                    [(g, narrow[part].T @ scaled[part], wanted[part] @ narrow[part]) for g, part in parts]
                )
            return scaled.T @ scaled, wanted @ scaled, own

        for square, side, own in shared_out(products, self.batches):
            market += square
            right += side
            for level, groups in enumerate(own):
                for group, A, h in groups:
                    levels[level][group] += A
                    rights[level][group] += h
        return CrossProducts(market, right, levels, rights)

    def fitted(self, posterior: Posterior) -> Floats:
        """Posterior mean of every row."""

        def means(batch: RowBatch) -> Floats:
            X = self.X[batch.rows]
            if not posterior.totals:
                return np.asarray(X @ posterior.market.astype(X.dtype))
            totals = posterior.totals[-1]
            return np.concatenate(
                [X[part] @ totals[group].astype(X.dtype) for group, part in batch.parts[-1]]
            )

        return np.concatenate(list(shared_out(means, self.batches)), dtype=np.float64)

    def variance(self, posterior: Posterior, priors: Priors, largest: int) -> Floats:
        """Posterior variance of every row's mean; taken as nought in finest groups of more than ``largest``
        rows."""
        result = np.zeros(len(self.order))
        for batch in self.batches:
            finest = self.finest[batch.rows]
            keep = np.flatnonzero(self.sizes[finest] <= largest)
            if len(keep):
                codes = np.array([of_finest[finest[keep]] for of_finest in self.ancestors], dtype=np.int64)
                functional = self.X[batch.rows][keep].astype(np.float64)
                codes = codes.reshape(-1, len(keep)).T
                result[batch.rows.start + keep] = posterior.variance(functional, codes, priors)
        return result


def _parts(bounds: Ints, start: int, stop: int) -> Iterator[tuple[int, slice]]:
    """The groups that rows ``start`` to ``stop`` belong to, with their rows counted from ``start``."""
    first = int(np.searchsorted(bounds, start, side="right")) - 1
    last = int(np.searchsorted(bounds, stop, side="left"))
    for group in range(first, last):
        low, high = max(int(bounds[group]), start), min(int(bounds[group + 1]), stop)
        if low < high:
            yield group, slice(low - start, high - start)
