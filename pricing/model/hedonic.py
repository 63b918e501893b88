"""The partial-pooling regression of log price.

``y = x @ theta_group + e``: coefficients pooled over nested groups (:mod:`pricing.model.pooling`),
Student-t errors, a residual spread that has a regression of its own, and rows of which only a lower and an
upper bound are known.

Sources: Lange, Little and Taylor (1989) for the t weights; Lee and Nelder (2006) for the regression of the
log variance; Tobin (1958) for censoring; Dempster, Laird and Rubin (1977) for the iteration that joins them.
"""

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import check_is_fitted, validate_data
from threadpoolctl import ThreadpoolController

from pricing.model.pooling import Floats, Ints, Posterior, Priors, Tree, solve, updated_priors
from pricing.model.rows import Rows

DEGREES = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0, 60.0)
"""Degrees of freedom that are tried; the likeliest is kept."""

ONE_THREAD = ThreadpoolController()
"""The products here are small: one thread is as fast, gives the same digits on any number of cores, and
leaves the others to other people."""

SPREAD_PRIOR = 0.02
"""Starting prior variance of every coefficient and group effect of the log variance."""


@dataclass(frozen=True)
class Structure:
    """What the regression knows of its columns: nested groups, prior variances, blocks sharing a variance,
    the columns that the residual spread may depend on, and those whose coefficients may not be negative in
    any group."""

    tree: Tree
    priors: Priors
    blocks: list[Ints]
    spread_columns: Ints
    ordered_columns: Ints


class HedonicRegression(RegressorMixin, BaseEstimator):
    """Pooled regression with Student-t errors and a modelled spread; follows scikit-learn's estimator
    conventions.

    With plain arrays it is a robust linear regression whose slopes are shrunk by a variance learnt from the
    data (``pooling=False``: not shrunk). Nested groups, blocks and bounds come through ``fit``'s keyword
    arguments, and then ``X`` carries its own intercept in column 0.

    Args:
        degrees: Student-t degrees of freedom; None learns them, infinity gives normal errors.
        pooling: learn the prior variances; False keeps every market coefficient free and ignores the groups.
        spread: model the residual spread; False gives one spread to all rows.
        restricted: correct the residual variance for the coefficients estimated (restricted likelihood).
        max_iter: outer iterations at most.
        tol: the iteration stops when fitted values move by less than this share of their residual spread
            (root of the mean square).

    >>> X = np.arange(40.0)[:, None]
    >>> model = HedonicRegression(degrees=np.inf, pooling=False).fit(X, 2.0 + 0.5 * X[:, 0])
    >>> [round(float(value), 6) for value in (model.intercept_, *model.coef_)]
    [2.0, 0.5]
    """

    posterior_: Posterior
    priors_: Priors
    spread_posterior_: Posterior
    spread_priors_: Priors
    degrees_: float

    def __init__(
        self,
        *,
        degrees: float | None = None,
        pooling: bool = True,
        spread: bool = True,
        restricted: bool = True,
        max_iter: int = 20,
        tol: float = 0.01,
    ) -> None:
        self.degrees = degrees
        self.pooling = pooling
        self.spread = spread
        self.restricted = restricted
        self.max_iter = max_iter
        self.tol = tol

    def fit(
        self,
        X: ArrayLike,
        y: ArrayLike,
        *,
        codes: Ints | None = None,
        structure: Structure | None = None,
        lower: Floats | None = None,
        upper: Floats | None = None,
        start: Self | None = None,
    ) -> Self:
        """Fit to ``y`` (log price); where ``y`` is NaN the row is known to lie in ``[lower, upper]``.

        ``start`` is a fit to much the same data with the same columns: its variances are where this one
        begins.
        """
        if structure is None:
            plain, y = validate_data(self, X, y, y_numeric=True, dtype=np.float64)
            design = np.column_stack([np.ones(len(plain)), plain])
            structure = _plain_structure(design)
        else:
            design = np.asarray(X)
        target = np.array(y, dtype=np.float64)
        self.structure_ = structure
        varying = (
            structure.priors.varying()
            if self.pooling
            else [np.empty(0, dtype=np.int64)] * len(structure.tree.parents)
        )
        rows = Rows(design, codes, structure.tree, varying)
        with ONE_THREAD.limit(limits=1, user_api="blas"):
            self._iterate(rows, target[rows.order], _sorted(lower, rows), _sorted(upper, rows), start)
        self.intercept_ = float(self.posterior_.market[0])
        self.coef_ = self.posterior_.market[1:]
        return self

    def _iterate(
        self, rows: Rows, y: Floats, lower: Floats | None, upper: Floats | None, start: Self | None
    ) -> None:
        structure = self.structure_
        priors = structure.priors if self.pooling else _unpooled(structure.priors)
        if start is not None:
            priors = start.priors_
        censored = np.isnan(y)
        known = ~censored
        response = y.copy()
        if censored.any():
            response[censored] = _start_of(lower, upper, censored, float(np.median(y[known])))
        log_variance = np.full(len(y), np.log(max(float(np.var(response)), 1e-8)))
        weights = np.exp(-log_variance)
        degrees = self.degrees if self.degrees is not None else 5.0 if start is None else start.degrees_
        extra = np.zeros(len(y))
        fitted = np.full(len(y), response.mean())
        spread_priors = _spread_priors(structure, self.spread) if start is None else start.spread_priors_
        spread_rows = rows.columns(structure.spread_columns, spread_priors.varying())
        spread_blocks = _spread_blocks(structure)
        spread_posterior = posterior = _nothing()
        for iteration in range(1, self.max_iter + 1):
            products = rows.cross_products(weights, response)
            posterior = solve(products, structure.tree, priors, rows.varying)
            for _ in range(_variance_updates(iteration, start is not None) if self.pooling else 0):
                priors = updated_priors(posterior, structure.tree, priors, structure.blocks)
                posterior = solve(products, structure.tree, priors, rows.varying)
            previous, fitted = fitted, rows.fitted(posterior)
            leverage = rows.variance(posterior) if self.restricted else np.zeros(len(y))
            if censored.any():
                response[censored], extra[censored] = truncated_moments(
                    fitted[censored], np.exp(0.5 * log_variance[censored]), lower, upper, censored
                )
            squares = np.square(response - fitted) + extra + leverage
            if iteration == 1:
                log_variance[:] = np.log(max(float(np.mean(squares)), 1e-12))
            if self.degrees is None:
                degrees = _likeliest_degrees(squares[known], log_variance[known])
            for _ in range(3 if iteration <= 2 and start is None else 1):
                latent = _latent_weights(squares, log_variance, degrees, censored)
                working = log_variance + latent * squares * np.exp(-log_variance) - 1.0
                spread_products = spread_rows.cross_products(np.full(len(y), 0.5), working)
                spread_posterior = solve(spread_products, structure.tree, spread_priors, spread_rows.varying)
                if self.spread:
                    spread_priors = updated_priors(
                        spread_posterior, structure.tree, spread_priors, spread_blocks
                    )
                log_variance = np.maximum(spread_rows.fitted(spread_posterior), log_variance - 3.0)
                log_variance = np.maximum(log_variance, np.log(1e-12))
            weights = _latent_weights(squares, log_variance, degrees, censored) * np.exp(-log_variance)
            step = np.sqrt(np.mean(np.square(fitted - previous) * np.exp(-log_variance)))
            if iteration > 2 and step < self.tol:
                break
        self.posterior_, self.priors_ = (
            posterior.ordered(structure.ordered_columns, _step_shares(rows.X[:, structure.ordered_columns])),
            priors,
        )
        self.spread_posterior_, self.spread_priors_ = spread_posterior, spread_priors
        self.degrees_, self.n_iter_ = float(degrees), iteration
        self.fitted_ = rows.restored(fitted)
        self.residual_ = rows.restored(response - fitted)
        self.log_variance_ = rows.restored(log_variance)
        self.weights_ = rows.restored(weights)

    def predict(self, X: ArrayLike, codes: Ints | None = None) -> Floats:
        """Posterior mean of log price."""
        design, groups = self._inputs(X, codes)
        return np.einsum("np,np->n", design, self.posterior_.coefficients(groups))

    def predict_variance(self, X: ArrayLike, codes: Ints | None = None) -> tuple[Floats, Floats]:
        """Variance of the mean (what is not known of the market) and of a single sale about it."""
        design, groups = self._inputs(X, codes)
        own = self.posterior_.variance(design, groups, self.priors_)
        spread_design = design[:, self.structure_.spread_columns]
        log_variance = np.einsum("np,np->n", spread_design, self.spread_posterior_.coefficients(groups))
        return own, np.exp(log_variance)

    def _inputs(self, X: ArrayLike, codes: Ints | None) -> tuple[Floats, Ints]:
        check_is_fitted(self)
        if codes is None:
            design = validate_data(self, X, reset=False, dtype=np.float64)
            return np.column_stack([np.ones(len(design)), design]), np.zeros((len(design), 0), dtype=np.int64)
        return np.asarray(X, dtype=np.float64), codes


def _variance_updates(iteration: int, warm: bool) -> int:
    """Updates of the prior variances in an outer iteration: many in the first of a cold start, then one
    each."""
    return 6 if iteration == 1 and not warm else 1


def truncated_moments(
    mean: Floats,
    deviation: Floats,
    lower: Floats | None,
    upper: Floats | None,
    rows: NDArray[np.bool_],
) -> tuple[Floats, Floats]:
    """Mean and variance of a normal known to lie between two bounds, infinite where open (Johnson, Kotz and
    Balakrishnan 1994, ch. 13).

    >>> mean, variance = truncated_moments(
    ...     np.zeros(1), np.ones(1), np.zeros(1), np.full(1, np.inf), np.ones(1, dtype=bool))
    >>> [round(float(value), 6) for value in (mean[0], variance[0])]
    [0.797885, 0.36338]
    """
    low = np.full(len(mean), -np.inf) if lower is None else lower[rows]
    high = np.full(len(mean), np.inf) if upper is None else upper[rows]
    a, b = (low - mean) / deviation, (high - mean) / deviation
    flip = a + b > 0  # work in the left tail, where the distribution function keeps its digits
    a, b = np.where(flip, -b, a), np.where(flip, -a, b)
    log_a, log_b = special.log_ndtr(a), special.log_ndtr(b)
    log_mass = log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, -1e-12)))
    root = 0.5 * np.log(2 * np.pi)
    density_a = np.where(np.isfinite(a), np.exp(-0.5 * np.square(a) - root - log_mass), 0.0)
    density_b = np.where(np.isfinite(b), np.exp(-0.5 * np.square(b) - root - log_mass), 0.0)
    shift = density_a - density_b
    finite_a, finite_b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    variance = 1.0 + finite_a * density_a - finite_b * density_b - np.square(shift)
    shift = np.where(flip, -shift, shift)
    return np.clip(mean + deviation * shift, low, high), np.square(deviation) * np.clip(variance, 1e-6, 1.0)


def _step_shares(steps: Floats) -> Floats:
    """Share of the rows at each place of an ordered scale, from its step columns."""
    reached = (steps > 0.5).mean(axis=0)
    return np.maximum(-np.diff(np.concatenate([[1.0], reached, [0.0]])), 1e-6)


def _start_of(lower: Floats | None, upper: Floats | None, rows: NDArray[np.bool_], centre: float) -> Floats:
    low = (
        np.full(rows.sum(), np.nan)
        if lower is None
        else np.where(np.isfinite(lower[rows]), lower[rows], np.nan)
    )
    high = (
        np.full(rows.sum(), np.nan)
        if upper is None
        else np.where(np.isfinite(upper[rows]), upper[rows], np.nan)
    )
    start = np.where(np.isnan(low), high, np.where(np.isnan(high), low, (low + high) / 2))
    return np.where(np.isnan(start), centre, start)


def _latent_weights(
    squares: Floats, log_variance: Floats, degrees: float, censored: NDArray[np.bool_]
) -> Floats:
    """Expected precision multipliers of the t errors; a censored row's imputed value is taken as normal."""
    if np.isinf(degrees):
        return np.ones(len(squares))
    weights = (degrees + 1.0) / (degrees + squares * np.exp(-log_variance))
    weights[censored] = 1.0
    return weights


def _likeliest_degrees(squares: Floats, log_variance: Floats) -> float:
    """The degrees of freedom in ``DEGREES`` under which the residuals are likeliest, each with its own
    scale."""
    z = np.sqrt(squares * np.exp(-log_variance))[:50_000]
    best, best_score = DEGREES[0], -np.inf
    for degrees in DEGREES:
        scale = 1.0
        for _ in range(15):
            scale = float(np.sqrt(np.mean((degrees + 1.0) / (degrees + np.square(z / scale)) * np.square(z))))
        score = float(np.sum(stats.t.logpdf(z / scale, degrees)) - len(z) * np.log(scale))
        if score > best_score:
            best, best_score = degrees, score
    return best


def _sorted(bounds: Floats | None, rows: Rows) -> Floats | None:
    return None if bounds is None else np.asarray(bounds, dtype=np.float64)[rows.order]


def _plain_structure(X: Floats) -> Structure:
    """One pooled block for all slopes, no groups; the spread does not depend on the columns."""
    scale = np.maximum(X[:, 1:].var(axis=0), 1e-12)
    market = np.concatenate([[np.inf], 1.0 / scale])
    return Structure(
        Tree(()),
        Priors(market, np.zeros((0, X.shape[1]))),
        [np.array([k]) for k in range(1, X.shape[1])],
        np.array([0]),
        np.empty(0, dtype=np.int64),
    )


def _nothing() -> Posterior:
    """The posterior before the first iteration: no coefficients at all."""
    none = np.empty(0)
    return Posterior(none, np.empty((0, 0)), [], [], -np.inf)


def _unpooled(priors: Priors) -> Priors:
    return Priors(np.full_like(priors.market, np.inf), np.zeros_like(priors.levels))


def _spread_priors(structure: Structure, modelled: bool) -> Priors:
    columns = structure.spread_columns
    market = np.full(len(columns), SPREAD_PRIOR if modelled else 1e-12)
    market[0] = np.inf
    levels = np.zeros((len(structure.tree.parents), len(columns)))
    levels[:, 0] = SPREAD_PRIOR if modelled else 0.0
    return Priors(market, levels)


def _spread_blocks(structure: Structure) -> list[Ints]:
    place = {int(column): index for index, column in enumerate(structure.spread_columns)}
    kept = [
        np.array([place[int(column)] for column in block if int(column) in place])
        for block in structure.blocks
    ]
    return [block for block in kept if len(block)]


def predictive_law(degrees: float) -> Any:
    """The standard error law of the regression: Student-t, or normal for infinite degrees."""
    return stats.norm() if np.isinf(degrees) else stats.t(degrees)
