"""Hedonic time-dummy index: log price on characteristics, a free level for every group, and a dummy a period.

With ``d_t`` the coefficient of period ``t``, the index is ``exp(d_t)``, and exactly

    exp(d_t) = (geometric mean price of t / of 0) x exp(sum_k b_k (mean_0k - mean_tk))

(Handbook on Residential Property Price Indices, 2013, ch. 5; the means are weighted where the sales are). New
sales revise the history of one regression over all periods; a rolling window instead chains ``I_t = I_(t-1)
exp(d_t - d_(t-1))``, the two dummies from the window that ends at ``t``.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl
from scipy import sparse

from pricing.arrays import Floats, Ints
from pricing.evidence.indices.characteristics import Characteristics
from pricing.evidence.indices.cluster_robust import Clusters, Swept, cluster_robust
from pricing.evidence.indices.least_squares import LogIndex, pseudo_inverse
from pricing.model.features.spec import FeatureSpec
from pricing.model.regression.hedonic import ONE_THREAD

CHUNK: Final = 32_768
"""Sales worked on at a time."""

SAMPLE: Final = 100_000


@dataclass(frozen=True)
class Window:
    """The regression over some periods: ``rows`` of the sales, ``beta`` of the characteristics (k), then of
    every period of the window but its first (T - 1); ``inverse`` of the cross-products of both, group levels
    swept out; ``means`` of the same columns by group (G x (k + T - 1)); ``residuals`` of the rows; ``rank``,
    the group levels included; which periods are ``estimable``."""

    rows: slice
    first: int
    beta: Floats
    inverse: Floats
    means: Floats
    residuals: Floats
    rank: int
    estimable: Floats

    @property
    def effects(self) -> Floats:
        """Coefficients of the characteristics (k)."""
        return self.beta[: len(self.beta) - len(self.estimable)]

    @property
    def logs(self) -> Floats:
        """Log index of every period against the first (T)."""
        return np.concatenate([[0.0], self.beta[len(self.effects) :]])

    def projected(self, sales: Characteristics, directions: Floats) -> Floats:
        """The sales' swept columns times ``directions`` (columns x m): n x m."""
        k = sales.matrix.shape[1]
        dummies = np.vstack([np.zeros((1, directions.shape[1])), directions[k:]])
        means = self.means @ directions
        out = np.empty((self.rows.stop - self.rows.start, directions.shape[1]))
        for start in range(self.rows.start, self.rows.stop, CHUNK):
            part = slice(start, min(start + CHUNK, self.rows.stop))
            place = slice(part.start - self.rows.start, part.stop - self.rows.start)
            np.matmul(sales.matrix[part], directions[:k], out=out[place])
            out[place] += dummies[sales.period[part] - self.first]
            out[place] -= means[sales.group[part]]
        return out

    def swept(self, sales: Characteristics, places: Ints) -> Floats:
        """The columns of some sales of the window, group levels swept out: m x (k + T - 1)."""
        periods = len(self.beta) - sales.matrix.shape[1] + 1
        dummies = np.eye(periods)[sales.period[places] - self.first][:, 1:]
        return np.column_stack([sales.matrix[places], dummies]) - self.means[sales.group[places]]


@dataclass(frozen=True)
class PeriodSums:
    """Weighted cross-products of the sales by period, from which any window's are sums."""

    squares: Floats
    """Periods x k x k."""
    products: Floats
    """Periods x k: characteristics with log price."""
    sums: Floats
    """Periods x k."""
    group_sums: Floats
    """Periods x groups x (k + 1): of the characteristics, and of log price last."""
    counts: Floats
    """Periods x groups: the weight of the sales."""

    @classmethod
    def of(cls, sales: Characteristics, periods: int) -> "PeriodSums":
        """One pass over the sales."""
        k, groups = sales.matrix.shape[1], sales.groups
        bounds = np.searchsorted(sales.period, np.arange(periods + 1))
        squares, products = np.zeros((periods, k, k)), np.zeros((periods, k))
        group_sums, counts = np.zeros((periods, groups, k + 1)), np.zeros((periods, groups))
        for period in range(periods):
            part = slice(int(bounds[period]), int(bounds[period + 1]))
            X, y, group, w = sales.matrix[part], sales.log_price[part], sales.group[part], sales.weights[part]
            heavy = X * w[:, None]
            squares[period], products[period] = heavy.T @ X, y @ heavy
            member = sparse.csr_array((w, (group, np.arange(len(y)))), shape=(groups, len(y)))
            group_sums[period] = np.asarray(member @ np.column_stack([X, y]))
            counts[period] = np.bincount(group, w, minlength=groups)
        return cls(squares, products, group_sums[:, :, :k].sum(axis=1), group_sums, counts)


def fit_window(sales: Characteristics, total: PeriodSums, first: int, last: int) -> Window:
    """The regression over the periods ``first`` to ``last``, both included; the first is its base."""
    part = slice(first, last + 1)
    k, own = sales.matrix.shape[1], np.arange(first + 1, last + 1)
    counts = total.counts[part]
    size = counts.sum(axis=0)
    size = np.where(size > 0, size, 1.0)
    sums = total.group_sums[part].sum(axis=0)
    means = np.column_stack([sums[:, :k], total.counts[own].T]) / size[:, None]
    mean_price = sums[:, k] / size
    cross = np.block(
        [
            [total.squares[part].sum(axis=0), total.sums[own].T],
            [total.sums[own], np.diag(total.counts[own].sum(axis=1))],
        ]
    ) - means.T @ (means * size[:, None])
    right = np.concatenate([total.products[part].sum(axis=0), total.group_sums[own, :, k].sum(axis=1)])
    right -= means.T @ (size * mean_price)
    inverse, rank = pseudo_inverse(cross)
    beta = inverse @ right
    rows = slice(
        int(np.searchsorted(sales.period, first)), int(np.searchsorted(sales.period, last, side="right"))
    )
    window = Window(
        rows, first, beta, inverse, means, np.empty(0), rank + int((counts.sum(axis=0) > 0).sum()),
        np.abs((inverse @ cross)[k:, k:] - np.eye(len(own))).max(axis=1, initial=0.0) < 1e-6,
    )  # fmt: skip
    swept = sales.log_price[rows] - mean_price[sales.group[rows]]
    fitted = window.projected(sales, beta[:, None])[:, 0]
    return replace(window, residuals=swept - fitted)


def whole_window(sales: Characteristics, periods: int) -> Window:
    """The regression over all periods."""
    with ONE_THREAD.limit(limits=1, user_api="blas"):
        return fit_window(sales, PeriodSums.of(sales, periods), 0, periods - 1)


def time_dummy(
    sales: Characteristics, periods: int, window: int | None = None, clusters: Clusters | None = None
) -> LogIndex:
    """The index; every sale is a cluster of its own where no ``clusters`` are given.

    ``window`` is the number of periods in a rolling window; None fits one regression to all, with the
    small-sample errors of ``cluster_robust``. The error of a chain counts every sale once with its weight in
    all the links together; its residuals are scaled by n / (n - k), and its degrees of freedom leave out what
    the regressions take up.
    """
    alone = Clusters(np.arange(len(sales)), None) if clusters is None else clusters
    with ONE_THREAD.limit(limits=1, user_api="blas"):
        return _chained(sales, periods, periods if window is None else min(window, periods), alone)


def _chained(sales: Characteristics, periods: int, width: int, clusters: Clusters) -> LogIndex:
    total = PeriodSums.of(sales, periods)
    k = sales.matrix.shape[1]
    logs, errors, freedom = np.zeros(periods), np.zeros(periods), np.zeros(periods)
    influence, scores = np.zeros(len(sales)), np.zeros(len(sales))
    whole = fit_window(sales, total, 0, periods - 1)
    codes, kind = clusters.chosen(whole.residuals * np.sqrt(sales.weights), sales.period)
    for last in range(width - 1, periods):
        first = last - width + 1
        fitted = whole if width == periods else fit_window(sales, total, first, last)
        size = len(fitted.residuals)
        scale = size / (size - fitted.rank) if size > fitted.rank else np.nan  # nothing left to tell it by
        scores[fitted.rows] = fitted.residuals * sales.weights[fitted.rows] * np.sqrt(scale)
        direction = np.zeros((k + width - 1, width - 1))
        direction[k:] = np.eye(width - 1)
        if first == 0:
            logs[1:width] = np.where(fitted.estimable, fitted.beta[k:], np.nan)
            own = np.unique(codes[fitted.rows], return_inverse=True)[1]
            errors[1:width], freedom[1:width] = cluster_robust(_swept(fitted, sales), own, direction)
            if width > 1:
                influence[fitted.rows] = fitted.projected(sales, fitted.inverse @ direction[:, -1:])[:, 0]
            continue
        link = direction[:, -1] - (direction[:, -2] if width > 2 else 0.0)
        logs[last] = logs[last - 1] + (fitted.beta @ link if fitted.estimable[-1] else np.nan)
        influence[fitted.rows] += fitted.projected(sales, (fitted.inverse @ link)[:, None])[:, 0]
        errors[last] = np.sqrt(np.square(np.bincount(codes, influence * scores)).sum())
        parts = np.bincount(codes, np.square(influence) * sales.weights)
        freedom[last] = parts.sum() ** 2 / np.square(parts).sum()
    return LogIndex(logs, errors, freedom, kind)


def _swept(fitted: Window, sales: Characteristics) -> Swept:
    """The regression with every row times the root of its weight."""
    group, weights = sales.group[fitted.rows], sales.weights[fitted.rows]
    roots = np.sqrt(weights)

    def rows(places: Ints) -> Floats:
        return fitted.swept(sales, places + fitted.rows.start) * roots[places, None]

    share = roots / np.sqrt(np.bincount(group, weights))[group]
    return Swept(rows, fitted.inverse, fitted.residuals * roots, group, share)


def kept_periods(period: Ints, periods: int, minimum: int) -> Ints:
    """Numbers of the periods with at least ``minimum`` sales.

    >>> kept_periods(np.array([0, 0, 2, 2, 2]), 3, 2).tolist()
    [0, 2]
    """
    return np.flatnonzero(np.bincount(period, minlength=periods) >= minimum)


def cars_of_periods(
    sold: pl.DataFrame, spec: FeatureSpec, period: Ints, present: Ints
) -> tuple[pl.DataFrame, Characteristics]:
    """The sales of the periods ``present``, and their characteristics, weighted by band."""
    use = np.isin(period, present)
    used = sold.filter(pl.Series(use))
    cars = Characteristics.of(used, spec, np.searchsorted(present, period[use]))
    return used, weighted_by_band(cars, len(present))


def weighted_by_band(sales: Characteristics, periods: int) -> Characteristics:
    """The sales with the weights that a first, unweighted regression over all periods suggests; it takes
    ``SAMPLE`` sales, or somewhat more, which tell the spread of a few bands well enough."""
    some = sales.every(max(1, len(sales) // SAMPLE))
    return sales.weighted(whole_window(some, periods).residuals, some.band)
