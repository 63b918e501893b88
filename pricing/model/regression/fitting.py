"""The iteration that fits a pooled regression with heavy-tailed errors, a modelled spread and censored rows.

Each turn is one of expectation and maximisation (Dempster, Laird and Rubin 1977): coefficients given
weights, prior variances given coefficients, weights given residuals (Lange, Little and Taylor 1989), the
log variance by the working response ``log s2 + w r2 / s2 - 1`` of precision one half (Lee and Nelder 2006),
and the prices of censored rows by their expectation between the bounds (Tobin 1958).
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pricing.arrays import Bools, Floats
from pricing.model.regression.elimination import solve
from pricing.model.regression.pooling import Posterior, Priors, Structure
from pricing.model.regression.prior_updates import updated_priors
from pricing.model.regression.residuals import latent_weights, likeliest_degrees, truncated_moments
from pricing.model.regression.rows import Rows

LEVERAGE_ROWS = 20_000
"""Up to this many rows the variance of every fitted value is taken into account; beyond, that of rows whose
finest group has at most ``LEVERAGE_GROUP`` of them, since in larger groups it is next to nothing, and as
it was at the first turn."""

LEVERAGE_GROUP = 20

LEVERAGE_TURNS = 2
"""Turns after which the variances of fitted values are left as they are where the spread is modelled. Worked
out again and again from ever smaller residuals they then feed on themselves: in markets of a few hundred
sales the spread of a single sale came out a third too small, and the mid further from the truth. One spread
for all rows comes to restricted maximum likelihood when they are worked out at every turn."""

FLOOR = np.log(1e-12)
"""No log variance is smaller."""


@dataclass
class Estimates:
    """What is found: the mean and the log variance, each a posterior with its priors, the errors' degrees,
    and which ordered steps were ``inverted`` before they were levelled: one row for the market, then a row a
    group of each level."""

    posterior: Posterior
    priors: Priors
    spread_posterior: Posterior
    spread_priors: Priors
    degrees_of_freedom: float
    inverted: list[Bools] = field(default_factory=list)


class Fitting:
    """The state of one fit; rows are in the order of :class:`Rows`."""

    def __init__(
        self,
        rows: Rows,
        spread_rows: Rows,
        y: Floats,
        bounds: tuple[Floats, Floats],
        structure: Structure,
        spread: Structure,
        degrees_of_freedom: float | None,
        leverage_turns: int,
    ) -> None:
        self.rows, self.spread_rows = rows, spread_rows
        self.structure, self.spread = structure, spread
        self.fixed_degrees, self.leverage_turns = degrees_of_freedom, leverage_turns
        self.censored: Bools = np.isnan(y)
        self.low, self.high = (bound[self.censored] for bound in bounds)
        self.response = y.copy()
        if self.censored.any():
            self.response[self.censored] = self._between(float(np.median(y[~self.censored])))
        self.extra = np.zeros(len(y))
        self.fitted = np.full(len(y), self.response.mean())
        self.log_variance = np.full(len(y), np.log(max(float(np.var(self.response)), 1e-8)))
        self.weights = np.exp(-self.log_variance)
        self.cold = True

    def start_from(self, estimates: Estimates) -> None:
        """Begin where a fit of the same columns and groups ended."""
        self.fitted = self.rows.fitted(estimates.posterior)
        self.log_variance = np.maximum(self.spread_rows.fitted(estimates.spread_posterior), FLOOR)
        self._impute()
        self.weights = self._latent(estimates.degrees_of_freedom) * np.exp(-self.log_variance)
        self.cold = False

    def run(
        self, priors: Priors, spread_priors: Priors, turns: int, tolerance: float, warm: bool
    ) -> Estimates:
        """Up to ``turns`` turns, fewer when fitted values move by less than ``tolerance`` of their spread.

        ``warm`` says that the priors come from a fit to much the same data, so that few updates are needed.
        """
        tree, blocks = self.structure.tree, self.structure.blocks
        for turn in range(1, turns + 1):
            products = self.rows.cross_products(self.weights, self.response)
            posterior = solve(products, tree, priors, self.rows.varying)
            updates = 7 if turn == 1 and not warm else 1
            for update in range(updates):
                priors = updated_priors(
                    posterior,
                    tree,
                    priors,
                    blocks,
                    self.structure.priors,
                    self.structure.anchor,
                    self.structure.jumping,
                )
                if update < updates - 1:
                    posterior = solve(products, tree, priors, self.rows.varying)
            previous, self.fitted = self.fitted, self.rows.fitted(posterior)
            self._impute()
            if turn == 1 or (turn <= self.leverage_turns and len(self.response) <= LEVERAGE_ROWS):
                leverage = self._leverage(posterior, priors)
            self.squares = np.square(self.response - self.fitted) + self.extra + leverage
            if self.cold:
                self.log_variance[:] = max(np.log(max(float(np.mean(self.squares)), 1e-300)), FLOOR)
            degrees_of_freedom = self._degrees()
            for _ in range(3 if self.cold and turn <= 2 else 1):
                spread_posterior, spread_priors = self._spread_turn(spread_priors, degrees_of_freedom)
            self.weights = self._latent(degrees_of_freedom, self.squares) * np.exp(-self.log_variance)
            step = np.sqrt(np.mean(np.square(self.fitted - previous) * np.exp(-self.log_variance)))
            if step < tolerance and (turn > 2 or not self.cold):
                break
            self.cold = self.cold and turn < 2
        self.turns = turn
        return Estimates(posterior, priors, spread_posterior, spread_priors, degrees_of_freedom)

    def _spread_turn(self, priors: Priors, degrees_of_freedom: float) -> tuple[Posterior, Priors]:
        ratio = self._latent(degrees_of_freedom, self.squares) * self.squares * np.exp(-self.log_variance)
        products = self.spread_rows.cross_products(
            np.full(len(ratio), 0.5), self.log_variance + np.minimum(ratio, 50.0) - 1.0
        )
        tree, varying = self.spread.tree, self.spread_rows.varying
        posterior = solve(products, tree, priors, varying)
        priors = updated_priors(posterior, tree, priors, self.spread.blocks)
        fitted_spreads = self.spread_rows.fitted(posterior)
        self.log_variance = np.maximum(np.maximum(fitted_spreads, self.log_variance - 3.0), FLOOR)
        return posterior, priors

    def _latent(self, degrees_of_freedom: float, squares: Any = None) -> Floats:
        residual = np.square(self.response - self.fitted) + self.extra if squares is None else squares
        return latent_weights(residual, self.log_variance, degrees_of_freedom, self.censored)

    def _leverage(self, posterior: Posterior, priors: Priors) -> Floats:
        rows = len(self.response)
        if not self.leverage_turns:
            return np.zeros(rows)
        return self.rows.variance(posterior, priors, rows if rows <= LEVERAGE_ROWS else LEVERAGE_GROUP)

    def _degrees(self) -> float:
        if self.fixed_degrees is not None:
            return self.fixed_degrees
        known = ~self.censored
        return likeliest_degrees(self.squares[known], self.log_variance[known])

    def _impute(self) -> None:
        """Put every censored row at its expectation, with the variance that is left."""
        if self.censored.any():
            deviation = np.exp(0.5 * self.log_variance[self.censored])
            self.response[self.censored], self.extra[self.censored] = truncated_moments(
                self.fitted[self.censored], deviation, self.low, self.high
            )

    def _between(self, centre: float) -> Floats:
        """A first guess between the bounds: their middle, the one there is, or the centre of the known."""
        low, high = np.isfinite(self.low), np.isfinite(self.high)
        both = np.where(low & high, 0.5, 1.0)
        total = np.where(low, self.low, 0.0) + np.where(high, self.high, 0.0)
        return np.where(low | high, both * total, centre)
