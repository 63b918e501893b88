"""The partial-pooling regression of log price.

``y = x @ theta_group + e``: coefficients pooled over nested groups (:mod:`pricing.model.pooling`),
Student-t errors, a residual spread that has a regression of its own, and rows of which only a lower and an
upper bound are known. The iteration is in :mod:`pricing.model.fitting`.
"""

from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import check_is_fitted, validate_data
from threadpoolctl import ThreadpoolController

from pricing.model.fitting import Estimates, Fitting
from pricing.model.pooling import Floats, Ints, Priors
from pricing.model.rows import Rows
from pricing.model.structure import Structure

ONE_THREAD = ThreadpoolController()
"""The products here are small: one thread each is as fast and gives the same digits on any number of cores;
large fits share out their rows instead."""

LARGE = 100_000
"""From this many rows on, a fit begins from a fit to a sample of ``SAMPLE`` of them."""

SAMPLE = 50_000


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

    estimates_: Estimates

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
        start: Priors | None = None,
    ) -> Self:
        """Fit to ``y`` (log price); where ``y`` is NaN the row is known to lie in ``[lower, upper]``.

        ``start`` are the prior variances of the mean that a fit to much the same data found: where this one
        begins. Those of the residual spread begin anew: come from below they converge slowly.
        """
        if structure is None:
            plain, y = validate_data(self, X, y, y_numeric=True, dtype=np.float64)
            design: NDArray[Any] = np.column_stack([np.ones(len(plain)), plain])
            structure = Structure.plain(design)
        else:
            design = np.asarray(X)
        target = np.array(y, dtype=np.float64)
        bounds = (
            np.full(len(target), -np.inf) if lower is None else lower,
            np.full(len(target), np.inf) if upper is None else upper,
        )
        with ONE_THREAD.limit(limits=1, user_api="blas"):
            self._fit(
                design, target, codes, structure if self.pooling else structure.unpooled(), bounds, start
            )
        self.intercept_ = float(self.estimates_.posterior.market[0])
        self.coef_ = self.estimates_.posterior.market[1:]
        return self

    def _fit(
        self,
        X: NDArray[Any],
        y: Floats,
        codes: Ints | None,
        structure: Structure,
        bounds: tuple[Floats, Floats],
        start: Priors | None,
    ) -> None:
        spread = structure.of_spread(self.spread)
        priors, spread_priors = structure.priors if start is None else start, spread.priors
        varying, spread_varying = structure.priors.varying(), spread.priors.varying()

        def fitting(rows: slice) -> Fitting:
            lain = Rows(X[rows], None if codes is None else codes[rows], structure.tree, varying)
            limits = bounds[0][rows][lain.order], bounds[1][rows][lain.order]
            return Fitting(
                lain, lain.columns(structure.spread_columns, spread_varying), y[rows][lain.order], limits,
                structure, spread, self.degrees, self.restricted,
            )  # fmt: skip

        warm = start is not None
        if len(y) >= LARGE:
            sample = fitting(slice(None, None, len(y) // SAMPLE))
            first = sample.run(priors, spread_priors, 3 if warm else self.max_iter, self.tol, warm)
            priors, spread_priors, warm = first.priors, first.spread_priors, True
        fit = fitting(slice(None))
        if len(y) >= LARGE:
            fit.start_from(first)
        found = fit.run(priors, spread_priors, self.max_iter, self.tol, warm)
        steps = structure.ordered_columns
        found.inverted = found.posterior.inverted(steps)
        found.posterior = found.posterior.ordered(steps, _step_shares(fit.rows.X[:, steps]))
        self.estimates_, self.n_iter_ = found, fit.turns
        self.fitted_ = fit.rows.restored(fit.fitted)
        self.residual_ = fit.rows.restored(fit.response - fit.fitted)
        self.log_variance_ = fit.rows.restored(fit.log_variance)
        self.weights_ = fit.rows.restored(fit.weights)
        self.spread_columns_ = structure.spread_columns

    def predict(self, X: ArrayLike, codes: Ints | None = None) -> Floats:
        """Posterior mean of log price."""
        design, groups = self._inputs(X, codes)
        return np.einsum("np,np->n", design, self.estimates_.posterior.coefficients(groups))

    def predict_variance(self, X: ArrayLike, codes: Ints | None = None) -> tuple[Floats, Floats]:
        """Variance of the mean (what is not known of the market) and of a single sale about it."""
        design, groups = self._inputs(X, codes)
        own = self.estimates_.posterior.variance(design, groups, self.estimates_.priors)
        coefficients = self.estimates_.spread_posterior.coefficients(groups)
        return own, np.exp(np.einsum("np,np->n", design[:, self.spread_columns_], coefficients))

    def _inputs(self, X: ArrayLike, codes: Ints | None) -> tuple[Floats, Ints]:
        check_is_fitted(self)
        if codes is None:
            design = validate_data(self, X, reset=False, dtype=np.float64)
            return np.column_stack([np.ones(len(design)), design]), np.zeros((len(design), 0), dtype=np.int64)
        return np.asarray(X, dtype=np.float64), codes


def _step_shares(steps: NDArray[Any]) -> Floats:
    """Share of the rows at each place of an ordered scale, from its step columns."""
    reached = (steps > 0.5).mean(axis=0)
    return np.maximum(-np.diff(np.concatenate([[1.0], reached, [0.0]])), 1e-6)
