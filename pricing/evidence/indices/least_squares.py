"""Ordinary and weighted least squares on arrays, with what index numbers need of them."""

from dataclasses import dataclass

import numpy as np

from pricing.arrays import Bools, Floats

TINY = 1e-10
"""Eigenvalues below this share of the largest belong to columns that the others make up."""


@dataclass(frozen=True)
class LeastSquares:
    """A fit of ``y`` on ``X`` (n x k): ``coefficients`` (k), ``inverse`` of the weighted cross-product (k x
    k), ``residuals`` (n, unweighted), ``rank`` and ``weights`` (n)."""

    coefficients: Floats
    inverse: Floats
    residuals: Floats
    rank: int
    weights: Floats
    X: Floats

    @property
    def freedom(self) -> int:
        """Observations less coefficients."""
        return len(self.residuals) - self.rank

    def estimable(self, count: int) -> Bools:
        """Which of the first ``count`` coefficients the observations can tell from the others."""
        cross = self.X.T @ (self.X * self.weights[:, None])
        return np.abs((self.inverse @ cross - np.eye(len(cross)))[:count]).max(axis=1, initial=0.0) < 1e-6

    def covariance(self) -> Floats:
        """Covariance of the coefficients, whatever the spread of each observation (White 1980, scaled by
        n / (n - k) as in MacKinnon and White's HC1); zeros where the fit is exact, infinite without
        freedom."""
        if self.freedom <= 0:
            return np.full_like(self.inverse, np.inf)
        scores = self.X * (self.weights * self.residuals)[:, None]
        meat = scores.T @ scores
        return self.inverse @ meat @ self.inverse * (len(self.residuals) / self.freedom)


@dataclass(frozen=True)
class LogIndex:
    """What a method finds: the log index of every period with enough sales against the first of them (NaN
    where nothing joins a period to the others), its standard ``errors``, their degrees of ``freedom``, and
    what the residuals go together in (``cluster_robust.KINDS``), where the method allows for it."""

    logs: Floats
    errors: Floats
    freedom: Floats
    clusters: str = ""


def least_squares(X: Floats, y: Floats, weights: Floats | None = None) -> LeastSquares:
    """Fit; among columns that make up each other the shortest solution is taken (Moore-Penrose).

    >>> fit = least_squares(np.column_stack([np.ones(3), np.arange(3.0)]), np.array([1.0, 3.0, 5.0]))
    >>> fit.coefficients.round(6).tolist(), fit.rank
    ([1.0, 2.0], 2)
    """
    w = np.ones(len(y)) if weights is None else weights
    inverse, rank = pseudo_inverse(X.T @ (X * w[:, None]))
    coefficients = inverse @ (X.T @ (w * y))
    return LeastSquares(coefficients, inverse, y - X @ coefficients, rank, w, X)


def pseudo_inverse(cross: Floats) -> tuple[Floats, int]:
    """Moore-Penrose inverse of a symmetric cross-product matrix, and its rank.

    Columns are brought to one scale first, so that the rank does not hang on the units.
    """
    scale = np.sqrt(np.maximum(np.diag(cross), 0.0))
    safe = np.where(scale > 0, scale, 1.0)
    values, vectors = np.linalg.eigh(cross / np.outer(safe, safe))
    independent = values > TINY * max(float(values.max(initial=0.0)), 1e-300)
    part = vectors[:, independent] / np.sqrt(values[independent]) / safe[:, None]
    return part @ part.T, int(independent.sum())
