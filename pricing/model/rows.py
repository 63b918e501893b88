"""The rows of a design, sorted by finest group, and the sums over groups that the regression needs."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pricing.model.pooling import CrossProducts, Floats, Ints, Posterior, Tree

BATCH = 65_536
"""Rows multiplied at once: bounds the memory of a large group."""


class Rows:
    """Design rows laid out group by group, so that every sum over a group is one product of matrices.

    ``X`` is rows x columns, ``codes`` rows x levels (every row's groups are known), ``varying`` the columns
    that vary at each level. Results are in sorted order; :meth:`restored` gives them back in the caller's.
    """

    def __init__(self, X: Floats, codes: Ints | None, tree: Tree, varying: list[Ints]) -> None:
        depth = len(tree.parents)
        finest = np.zeros(len(X), dtype=np.int64) if codes is None or not depth else codes[:, -1]
        self.order: NDArray[np.intp] = np.argsort(finest, kind="stable")
        self.X = np.ascontiguousarray(X[self.order])
        self.varying = varying
        ordered = finest[self.order]
        self.bounds = [
            np.searchsorted(tree.ancestors(level, depth - 1)[ordered], np.arange(size + 1))
            for level, size in enumerate(tree.sizes)
        ]

    def columns(self, columns: Ints, varying: list[Ints]) -> "Rows":
        """The same rows with some of the columns."""
        other = object.__new__(Rows)
        other.order, other.bounds, other.varying = self.order, self.bounds, varying
        other.X = np.ascontiguousarray(self.X[:, columns])
        return other

    def restored(self, values: Floats) -> Floats:
        """Sorted values in the caller's order."""
        result = np.empty_like(values)
        result[self.order] = values
        return result

    def cross_products(self, weights: Floats, y: Floats) -> CrossProducts:
        """Weighted sums of squares and products at every level."""
        p = self.X.shape[1]
        root = np.sqrt(weights).astype(self.X.dtype)
        scaled = self.X * root[:, None]
        target = root * y
        market, right = np.zeros((p, p)), np.zeros(p)
        for part in _batches(0, len(scaled)):
            market += scaled[part].T @ scaled[part]
            right += target[part] @ scaled[part]
        levels, rights = [], []
        for bounds, S in zip(self.bounds, self.varying, strict=True):
            groups = len(bounds) - 1
            A, h = np.zeros((groups, len(S), p)), np.zeros((groups, len(S)))
            own = np.ascontiguousarray(scaled[:, S])
            for group, part in _parts(bounds):
                A[group] += own[part].T @ scaled[part]
                h[group] += target[part] @ own[part]
            levels.append(A)
            rights.append(h)
        return CrossProducts(market, right, levels, rights)

    def fitted(self, posterior: Posterior) -> Floats:
        """Posterior mean of every row."""
        if not posterior.totals:
            return np.asarray(self.X @ posterior.market, dtype=np.float64)
        result = np.empty(len(self.order))
        for group, part in _parts(self.bounds[-1]):
            result[part] = self.X[part] @ posterior.totals[-1][group]
        return result

    def variance(self, posterior: Posterior) -> Floats:
        """Posterior variance of every row's mean."""
        functional = self.X.copy()
        result = np.zeros(len(functional))
        for bounds, level in zip(reversed(self.bounds), reversed(posterior.levels), strict=True):
            if not len(level.columns):
                continue
            for group, part in _parts(bounds):
                a = functional[part][:, level.columns]
                result[part] += np.einsum("ni,ni->n", a @ level.spread[group], a)
                functional[part] -= a @ level.gain[group]
        for part in _batches(0, len(functional)):
            result[part] += np.einsum("np,np->n", functional[part] @ posterior.covariance, functional[part])
        return result


def _batches(start: int, stop: int) -> Iterator[slice]:
    for first in range(start, stop, BATCH):
        yield slice(first, min(first + BATCH, stop))


def _parts(bounds: Ints) -> Iterator[tuple[int, slice]]:
    """Every group with its rows, at most ``BATCH`` at a time."""
    for group in np.flatnonzero(np.diff(bounds) > 0):
        for part in _batches(int(bounds[group]), int(bounds[group + 1])):
            yield int(group), part
