"""The rows of a design, sorted by finest group, and the sums over groups that the regression needs."""

import numpy as np
from numpy.typing import NDArray

from pricing.model.pooling import Floats, Ints, Posterior, Tree

BATCH = 65_536
"""Rows multiplied at once: bounds the memory of a large group."""


class Rows:
    """Design rows laid out group by group, so that every sum over a group is one product of matrices.

    ``X`` is rows x columns, ``codes`` rows x levels (every training row's groups are known). Results are in sorted
    order; :meth:`restored` gives them back in the caller's.
    """

    def __init__(self, X: Floats, codes: Ints | None, tree: Tree) -> None:
        finest = np.zeros(len(X), dtype=np.int64) if codes is None or not tree.parents else codes[:, -1]
        self.order: NDArray[np.intp] = np.argsort(finest, kind="stable")
        self.X = np.ascontiguousarray(X[self.order])
        groups = tree.sizes[-1] if tree.parents else 1
        self.bounds = np.searchsorted(finest[self.order], np.arange(groups + 1))

    def columns(self, columns: Ints) -> "Rows":
        """The same rows with some of the columns."""
        other = object.__new__(Rows)
        other.order, other.bounds = self.order, self.bounds
        other.X = np.ascontiguousarray(self.X[:, columns])
        return other

    def restored(self, values: Floats) -> Floats:
        """Sorted values in the caller's order."""
        result = np.empty_like(values)
        result[self.order] = values
        return result

    def cross_products(self, weights: Floats, y: Floats) -> tuple[Floats, Floats]:
        """``X'WX`` (groups x columns x columns) and ``X'Wy`` (groups x columns) of every finest group."""
        p = self.X.shape[1]
        A, h = np.zeros((len(self.bounds) - 1, p, p)), np.zeros((len(self.bounds) - 1, p))
        root = np.sqrt(weights)
        weighted_y = root * y
        for group, (start, stop) in enumerate(zip(self.bounds[:-1], self.bounds[1:], strict=True)):
            for first in range(start, stop, BATCH):
                part = slice(first, min(first + BATCH, stop))
                scaled = self.X[part] * root[part, None].astype(self.X.dtype)
                A[group] += scaled.T @ scaled
                h[group] += weighted_y[part] @ scaled
        return A, h

    def fitted(self, posterior: Posterior) -> Floats:
        """Posterior mean of every row."""
        totals = posterior.totals[-1] if posterior.totals else posterior.market[None, :]
        result = np.empty(len(self.order))
        for group, (start, stop) in enumerate(zip(self.bounds[:-1], self.bounds[1:], strict=True)):
            result[start:stop] = self.X[start:stop] @ totals[group]
        return result

    def quadratic(self, part: slice, matrices: Floats, result: Floats) -> None:
        """Write ``x' M x`` of every row of the groups in ``part`` into ``result``."""
        for group, matrix in zip(range(part.start, part.stop), matrices, strict=True):
            for first in range(self.bounds[group], self.bounds[group + 1], BATCH):
                rows = slice(first, min(first + BATCH, self.bounds[group + 1]))
                result[rows] = np.einsum("np,np->n", self.X[rows] @ matrix, self.X[rows])
