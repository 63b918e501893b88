"""Small-sample standard errors of a regression whose residuals go together in clusters.

CR2 (Bell and McCaffrey 2002; Pustejovsky and Tipton 2018) multiplies the residuals of each cluster by the
inverse root of its block of ``I - H``, ``H`` being the hat matrix, which makes the variance unbiased where
the residuals are alike and independent; with clusters of one it is HC2 (MacKinnon and White 1985). Student's
interval has Satterthwaite's degrees of freedom ``(sum l)**2 / sum l**2``, ``l`` being the eigenvalues of the
matrix of which the variance is a quadratic form. Both formulas are from memory.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats, Ints

MOST_WORK: Final = 3e10
"""Multiplications beyond which the degrees of freedom leave out what goes between clusters: of so many sales
every one has little leverage, and that part with it."""

DENSE: Final = 200
"""Rows beyond which a cluster is worked on in the space of the columns."""

CHUNK: Final = 16_384


@dataclass(frozen=True)
class Swept:
    """A weighted regression, its group levels swept out: ``rows`` gives the columns of some rows, each times
    the root of its weight (m x p), ``inverse`` that of their cross-products, ``residuals`` (n) times the root
    of the weight, ``group`` (n) and ``share`` (n), root of the row's part of its group's weight; no groups:
    nought."""

    rows: Callable[[Ints], Floats]
    inverse: Floats
    residuals: Floats
    group: Ints
    share: Floats


def cluster_robust(fit: Swept, clusters: Ints, contrasts: Floats) -> tuple[Floats, Floats]:
    """Standard error and degrees of freedom of every contrast of the coefficients (p x m).

    ``clusters`` are codes from 0 on. They either hold whole groups or lie within them.
    """
    size = np.bincount(clusters)
    order = np.argsort(clusters, kind="stable")
    starts = np.cumsum(size) - size
    nested = _hold_groups(clusters, fit.group)
    share = np.zeros_like(fit.share) if nested else fit.share
    p, m = contrasts.shape
    values, vectors = np.linalg.eigh(fit.inverse)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    seen = fit.inverse @ contrasts
    exact = float(len(clusters)) * m * p * p <= MOST_WORK
    sums = _ClusterSums(p, m, int(fit.group.max(initial=0)) + 1, exact)
    for rows_of in np.unique(size[size > 0]):
        own = np.flatnonzero(size == rows_of)
        step = max(1, CHUNK // int(rows_of))
        for first in range(0, len(own), step):
            part = own[first : first + step]
            rows = order[starts[part][:, None] + np.arange(rows_of)]
            X = fit.rows(rows.ravel()).reshape(*rows.shape, p)
            spread = X @ seen
            weighed = _adjusted(X @ root, share[rows], spread)
            scores = np.einsum("gim,gi->gm", weighed, fit.residuals[rows])
            q = (X @ root).transpose(0, 2, 1) @ weighed
            r = np.einsum("gi,gim->gm", share[rows], weighed)
            sums.add(scores, np.square(weighed).sum(axis=1), q, r, fit.group[rows[:, 0]])
    return sums.error(), sums.freedom()


def _hold_groups(clusters: Ints, group: Ints) -> bool:
    """Whether every group lies in one cluster."""
    low = np.full(int(group.max(initial=0)) + 1, len(clusters))
    high = np.full_like(low, -1)
    np.minimum.at(low, group, clusters)
    np.maximum.at(high, group, clusters)
    return bool((low >= high)[high >= 0].all())


def _adjusted(U: Floats, share: Floats, spread: Floats) -> Floats:
    """The columns ``spread`` (g x i x m) times the inverse root of ``I - H`` of each cluster, ``H = U U' +
    share share'``; directions that the regression fits whole are left out (Moore-Penrose)."""
    if U.shape[1] > DENSE:  # (I - U U')^(-1/2) v = v + U ((I - S)^(-1/2) - I) S^(-1) U' v, with S = U'U
        values, vectors = np.linalg.eigh(U.transpose(0, 2, 1) @ U)
        values = np.clip(values, 1e-12, None)
        factor = (_inverse_root(1.0 - values) - 1.0) / values
        turned = U @ vectors
        return np.asarray(spread + (turned * factor[:, None]) @ (turned.transpose(0, 2, 1) @ spread))
    left = np.eye(U.shape[1]) - U @ U.transpose(0, 2, 1) - share[:, :, None] * share[:, None, :]
    values, vectors = np.linalg.eigh(left)
    factor = _inverse_root(values)
    return np.asarray((vectors * factor[:, None]) @ (vectors.transpose(0, 2, 1) @ spread))


def _inverse_root(values: Floats) -> Floats:
    return np.where(values > 1e-9, 1.0 / np.sqrt(np.maximum(values, 1e-9)), 0.0)


class _ClusterSums:
    """What variance and degrees of freedom are made of, cluster by cluster."""

    def __init__(self, p: int, m: int, groups: int, exact: bool) -> None:
        self.exact = exact
        self.variance, self.trace, self.squares, self.own = (np.zeros(m) for _ in range(4))
        self.between = np.zeros((m, p, p))
        self.mixed, self.level = np.zeros((m, p, groups)), np.zeros((m, groups))

    def add(self, scores: Floats, whole: Floats, q: Floats, r: Floats, group: Ints) -> None:
        """Some clusters: scores (g x m), size of the weighed columns (g x m), and what of them the columns
        (g x p x m) and the group levels (g x m) take up."""
        taken = np.square(q).sum(axis=1) + np.square(r)
        self.variance += np.square(scores).sum(axis=0)
        self.trace += (whole - taken).sum(axis=0)
        self.own += np.square(whole - taken).sum(axis=0)
        if self.exact:
            self.squares += (np.square(whole) - 2.0 * whole * taken).sum(axis=0)
            across = q.transpose(2, 1, 0)
            self.between += across @ across.transpose(0, 2, 1)
            for place in range(len(self.variance) if r.any() else 0):
                np.add.at(self.mixed[place].T, group, q[:, :, place] * r[:, place, None])
                np.add.at(self.level[place], group, np.square(r[:, place]))

    def error(self) -> Floats:
        return np.sqrt(self.variance)

    def freedom(self) -> Floats:
        """Satterthwaite's; nought where the regression leaves nothing to tell the error by."""
        second = self.own
        if self.exact:
            second = (
                self.squares
                + np.square(self.between).sum(axis=(1, 2))
                + 2.0 * np.square(self.mixed).sum(axis=(1, 2))
                + np.square(self.level).sum(axis=1)
            )
        estimable = (second > 0) & (self.trace > 0)
        return np.where(estimable, np.square(self.trace) / np.where(estimable, second, 1.0), 0.0)


KINDS: Final = ("the cars sold", "the models")

DEPENDENT: Final = 0.05
"""Probability under which sales of a model in one period are taken to go together."""


@dataclass(frozen=True)
class Clusters:
    """Codes of the sales by car (``cars``, n) and by model (``models``, n; None where there is one model or
    none)."""

    cars: Ints
    models: Ints | None

    @classmethod
    def of(cls, sales: pl.DataFrame, item: list[str], model: list[str], order: Ints) -> Self:
        """Cars by the columns ``item`` (each sale of its own where one is null or absent), models by
        ``model``; the sales taken in ``order``."""
        present = [name for name in item if name in sales.columns]
        known = pl.all_horizontal(pl.col(present).is_not_null()) if present == item else pl.lit(False)
        names = pl.when(known).then(pl.struct(present or sales.columns[:1]).rank("dense"))
        number = sales.select(names.cast(pl.Int64).fill_null(-pl.int_range(1, pl.len() + 1))).to_series()
        cars = np.unique(number.to_numpy()[order], return_inverse=True)[1]
        if not model:
            return cls(cars, None)
        codes = sales.select(pl.struct(model).rank("dense")).to_series().to_numpy()[order]
        models = np.unique(codes, return_inverse=True)[1]
        return cls(cars, models if models.max(initial=0) > 0 else None)

    def chosen(self, residuals: Floats, period: Ints) -> tuple[Ints, str]:
        """The codes, and which they are: models where the residuals of a model's sales in one period go
        together, by the sum of the products of their pairs over its standard deviation were they independent;
        else cars."""
        if self.models is None:
            return self.cars, KINDS[0]
        cell = np.unique(self.models * (int(period.max()) + 1) + period, return_inverse=True)[1]
        squares, fourth = np.bincount(cell, residuals**2), np.bincount(cell, residuals**4)
        pairs = (np.square(np.bincount(cell, residuals)) - squares).sum()
        deviation = np.sqrt(2.0 * max(float((np.square(squares) - fourth).sum()), 0.0))
        together = pairs > float(stats.norm.isf(DEPENDENT)) * deviation
        return (self.models, KINDS[1]) if together else (self.cars, KINDS[0])
