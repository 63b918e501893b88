"""The partial-pooling regression of log price.

``y = x @ theta_group + e``: coefficients pooled over nested groups (:mod:`pricing.model.regression.pooling`),
Student-t errors, a residual spread that has a regression of its own, and rows of which only a lower and an
upper bound are known. The iteration is in :mod:`pricing.model.regression.fitting`.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from pricing.arrays import Bools, Floats, Ints
from pricing.errors import ModelError
from pricing.model.regression.elimination import cut, solve
from pricing.model.regression.fitting import LEVERAGE_TURNS, Estimates, Fitting
from pricing.model.regression.pooling import CrossProducts, Posterior, Priors, Structure
from pricing.model.regression.rows import Rows

ONE_THREAD = ThreadpoolController()
"""The products here are small: one thread each is as fast and gives the same digits on any number of cores;
large fits share out their rows instead."""

LARGE = 100_000
"""From this many rows on, a fit begins from a fit to a sample of ``SAMPLE`` of them."""

SAMPLE = 50_000


@dataclass(frozen=True)
class HedonicRegression:
    """What a fit found: its estimates, and the columns of the design that the residual spread depends on."""

    estimates: Estimates
    spread_columns: Ints

    def predict(self, X: Floats, codes: Ints) -> Floats:
        """Posterior mean of log price for rows of a design (n x p) with their group codes (n x levels)."""
        return np.einsum("np,np->n", X, self.estimates.posterior.coefficients(codes))

    def predict_variance(self, X: Floats, codes: Ints) -> tuple[Floats, Floats]:
        """Variance of the mean (what is not known of the market) and of a single sale about it."""
        own = self.estimates.posterior.variance(X, codes, self.estimates.priors)
        coefficients = self.estimates.spread_posterior.coefficients(codes)
        return own, np.exp(np.einsum("np,np->n", X[:, self.spread_columns], coefficients))

    def predict_shifted(self, X: Floats, shifts: Floats, codes: Ints) -> tuple[Floats, Floats, Floats]:
        """What ``predict`` and ``predict_variance`` say of each row of a design with each of the ``shifts``
        added to it, which all rows share (each rows x shifts)."""
        estimates, spread = self.estimates, self.spread_columns
        own = estimates.posterior.shifted_variance(X, shifts, codes, estimates.priors)
        coefficients = estimates.posterior.coefficients(codes)
        mean = np.einsum("np,np->n", X, coefficients)[:, None] + coefficients @ shifts.T
        coefficients = estimates.spread_posterior.coefficients(codes)
        log_sale = np.einsum("np,np->n", X[:, spread], coefficients)[:, None]
        return mean, own, np.exp(log_sale + coefficients @ shifts[:, spread].T)


@dataclass(frozen=True)
class Sums:
    """What a fit's last system of equations is made of: ``products`` of its rows, their responses less
    ``centre``, and the share of the rows at each place of the ordered scale."""

    products: CrossProducts
    centre: float
    step_shares: Floats


@dataclass(frozen=True)
class FittedRows:
    """Of the rows of a fit, in their order: ``fitted`` log price, ``residual`` from it (of a row known by its
    bounds: of its expectation between them), ``log_variance`` of a single sale, and ``weights``; and the
    ``sums`` over them, where they were asked for."""

    fitted: Floats
    residual: Floats
    log_variance: Floats
    weights: Floats
    sums: Sums | None = None


def fit_regression(
    X: NDArray[Any],
    y: Floats,
    codes: Ints,
    structure: Structure,
    *,
    lower: Floats | None = None,
    upper: Floats | None = None,
    start: Priors | None = None,
    degrees_of_freedom: float | None = None,
    spread: bool = True,
    restricted: bool = True,
    turns: int = 20,
    tolerance: float = 0.01,
    keep_sums: bool = False,
) -> tuple[HedonicRegression, FittedRows]:
    """Fit log prices ``y`` (n) to a design ``X`` (n x p, column 0 the intercept) with group ``codes`` (n x
    levels).

    Args:
        lower, upper: where ``y`` is NaN the row is known to lie between these.
        start: prior variances of the mean that a fit to much the same data found: where this one begins.
            Those of the residual spread begin anew: come from below they converge slowly.
        degrees_of_freedom: of Student's t; None fits them, infinity gives normal errors.
        spread: model the residual spread; False gives one spread to all rows.
        restricted: correct the residual variance for the coefficients estimated (restricted likelihood).
        turns: of the iteration at most.
        tolerance: the iteration ends when fitted values move by less than this share of their residual spread
            (root of the mean square).
        keep_sums: keep the sums over the rows, for :func:`updated`.

    Raises:
        ModelError: a value of the design is not finite, or no price is known.

    >>> from pricing.model.regression.pooling import Tree
    >>> X = np.column_stack([np.ones(40), np.arange(40.0)])
    >>> free = Structure(Tree(()), Priors(np.full(2, np.inf), np.zeros((0, 2))), [np.arange(2)],
    ...                  np.array([0]), np.array([], int))
    >>> codes = np.zeros((40, 0), int)
    >>> model, rows = fit_regression(X, 2.0 + 0.5 * X[:, 1], codes, free, degrees_of_freedom=np.inf)
    >>> model.predict(X[:2], codes[:2]).round(4).tolist()
    [2.0, 2.5]
    """
    if not np.isfinite(X.sum()):
        raise ModelError("a value of the design is not finite")
    if np.isnan(y).all():
        raise ModelError("no price is known to fit to")
    centre = float(np.nanmedian(y))  # so that an answer does not depend on the unit, to the last digit
    y = y - centre
    low = np.full(len(y), -np.inf) if lower is None else lower - centre
    high = np.full(len(y), np.inf) if upper is None else upper - centre
    of_spread = structure.of_spread(spread)
    priors, spread_priors = structure.priors if start is None else start, of_spread.priors
    varying, spread_varying = structure.priors.varying(), of_spread.priors.varying()

    leverage_turns = 0 if not restricted else LEVERAGE_TURNS if spread else turns

    def fitting(some: slice) -> Fitting:
        lain = Rows(X[some], codes[some], structure.tree, varying)
        limits = low[some][lain.order], high[some][lain.order]
        return Fitting(
            lain, lain.columns(structure.spread_columns, spread_varying), y[some][lain.order], limits,
            structure, of_spread, degrees_of_freedom, leverage_turns,
        )  # fmt: skip

    warm = start is not None
    with ONE_THREAD.limit(limits=1, user_api="blas"):
        if len(y) >= LARGE:
            sample = fitting(slice(None, None, len(y) // SAMPLE))
            first = sample.run(priors, spread_priors, 3 if warm else turns, tolerance, warm)
            priors, spread_priors, warm = first.priors, first.spread_priors, True
        fit = fitting(slice(None))
        if len(y) >= LARGE:
            fit.start_from(first)
        estimates = fit.run(priors, spread_priors, turns, tolerance, warm)
        steps = structure.ordered_columns
        estimates.inverted = estimates.posterior.inverted(steps)
        shares = _step_shares(fit.rows.X[:, steps])
        estimates.posterior = estimates.posterior.ordered(steps, shares)
        products = fit.rows.cross_products(fit.weights, fit.response) if keep_sums else None
    estimates.posterior.raise_level(centre)
    restored = fit.rows.restored
    rows = FittedRows(
        restored(fit.fitted) + centre, restored(fit.response - fit.fitted), restored(fit.log_variance),
        restored(fit.weights), None if products is None else Sums(products, centre, shares),
    )  # fmt: skip
    return HedonicRegression(estimates, structure.spread_columns), rows


def updated(
    regression: HedonicRegression,
    sums: Sums,
    structure: Structure,
    more: CrossProducts,
    fixed: list[Bools],
) -> tuple[HedonicRegression, HedonicRegression]:
    """The regression with the products of ``more`` rows (responses less the same centre) beside those of its
    own, its variances as they were found; and, from the same system, the one without. The market and the
    groups ``fixed`` of each level are the same in both: the rows tell of what is below."""
    steps = structure.ordered_columns

    def finished(posterior: Posterior) -> HedonicRegression:
        inverted = posterior.inverted(steps)
        solution = posterior.ordered(steps, sums.step_shares)
        solution.raise_level(sums.centre)
        estimates = replace(regression.estimates, posterior=solution, inverted=inverted)
        return replace(regression, estimates=estimates)

    with ONE_THREAD.limit(limits=1, user_api="blas"):
        alone, both = (
            solve(products, structure.tree, regression.estimates.priors, structure.priors.varying())
            for products in (sums.products, sums.products.plus(more))
        )
        return finished(cut(both, alone, structure.tree, fixed)), finished(alone)


def _step_shares(steps: NDArray[Any]) -> Floats:
    """Share of the rows at each place of an ordered scale, from its step columns."""
    reached = (steps > 0.5).mean(axis=0)
    return np.maximum(-np.diff(np.concatenate([[1.0], reached, [0.0]])), 1e-6)
