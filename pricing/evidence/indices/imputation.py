"""Double-imputation hedonic indices: a regression in every period, and each sale's price imputed in both; the
characteristics by groups of attributes, so that a period of few sales can bear them.

With ``b_t`` the coefficients of period ``t`` (intercept first) and ``z`` the characteristics, against the
base period 0 (Handbook on Residential Property Price Indices, 2013, ch. 5):

- Laspeyres: sum over the sales of 0 of ``exp(b_t z)`` / sum of ``exp(b_0 z)``; Paasche: the same over those
  of ``t``; Fisher: the root of their product.
- Tornqvist: geometric mean of ``exp((b_t - b_0) z)``, half over the sales of 0 and half over those of ``t``,
  each sale weighted by its share of the imputed value of its own period.
- symmetric: the same with equal weights, which is exactly (geometric mean price of t / of 0) x
  ``exp((b_0 + b_t)' (mean z of 0 - mean z of t) / 2)``, the means weighted where the regressions are.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from pricing.arrays import Floats, Ints
from pricing.evidence.indices.characteristics import Characteristics
from pricing.evidence.indices.least_squares import LeastSquares, LogIndex, least_squares
from pricing.evidence.indices.time_dummy import whole_window

FORMULAS: Final = ("laspeyres", "paasche", "fisher", "tornqvist", "symmetric")

_SPARE: Final = 2
"""A regression of one period needs this many times its coefficients in sales."""


@dataclass(frozen=True)
class Imputed:
    """Log indices of one period against the base, by formula, the standard error of each, and its degrees of
    freedom (Satterthwaite 1946, from those of the two periods' regressions)."""

    logs: dict[str, float]
    errors: dict[str, float]
    freedom: dict[str, float]


def imputation(
    log_price: Floats, characteristics: Floats, period: Ints, present: Ints, weights: Floats | None = None
) -> dict[int, Imputed]:
    """Every formula for every period in ``present``, the first of which is the base.

    ``characteristics`` (n x m) has no intercept; every such period needs more sales than ``m + 1``.
    """
    Z = np.column_stack([np.ones(len(log_price)), characteristics])
    rows = {int(t): np.flatnonzero(period == t) for t in present}
    w = np.ones(len(log_price)) if weights is None else weights
    fits = {t: least_squares(Z[where], log_price[where], w[where]) for t, where in rows.items()}
    base = int(present[0])
    return {t: _compare(fits[base], fit, Z[rows[base]], Z[rows[t]]) for t, fit in fits.items()}


def _compare(base: LeastSquares, later: LeastSquares, Z0: Floats, Z1: Floats) -> Imputed:
    b0, b1 = base.coefficients, later.coefficients
    gradients: dict[str, tuple[Floats, Floats]] = {}
    logs: dict[str, float] = {}
    for name, Z in (("laspeyres", Z0), ("paasche", Z1)):
        before, after = Z @ b0, Z @ b1
        logs[name] = float(_log_sum(after) - _log_sum(before))
        gradients[name] = _shares(before) @ Z, _shares(after) @ Z
    logs["fisher"] = (logs["laspeyres"] + logs["paasche"]) / 2
    gradients["fisher"] = (
        (gradients["laspeyres"][0] + gradients["paasche"][0]) / 2,
        (gradients["laspeyres"][1] + gradients["paasche"][1]) / 2,
    )
    valued = (_shares(Z0 @ b0) @ Z0 + _shares(Z1 @ b1) @ Z1) / 2
    equal = (np.average(Z0, axis=0, weights=base.weights) + np.average(Z1, axis=0, weights=later.weights)) / 2
    for name, middle in (("tornqvist", valued), ("symmetric", equal)):
        logs[name] = float((b1 - b0) @ middle)
        gradients[name] = middle, middle
    V0, V1 = base.covariance(), later.covariance()
    if base is later:
        return Imputed(logs, dict.fromkeys(logs, 0.0), dict.fromkeys(logs, np.inf))
    parts = {name: (float(g0 @ V0 @ g0), float(g1 @ V1 @ g1)) for name, (g0, g1) in gradients.items()}
    errors = {name: float(np.sqrt(before + after)) for name, (before, after) in parts.items()}
    return Imputed(
        logs, errors, {name: _freedom(*both, base.freedom, later.freedom) for name, both in parts.items()}
    )


def _freedom(before: float, after: float, before_freedom: int, after_freedom: int) -> float:
    """Degrees of freedom of the root of a sum of two estimated variances.

    >>> _freedom(1.0, 1.0, 10, 10)
    20.0
    """
    if min(before_freedom, after_freedom) <= 0 or before + after <= 0.0:
        return 0.0
    return (before + after) ** 2 / (before**2 / before_freedom + after**2 / after_freedom)


def _shares(logs: Floats) -> Floats:
    values = np.exp(logs - logs.max())
    return np.asarray(values / values.sum())


def _log_sum(logs: Floats) -> float:
    return float(logs.max() + np.log(np.exp(logs - logs.max()).sum()))


ATTRIBUTE_GROUP: Final = {
    "condition": "condition",
    "year": "wear",
    "odometer_km": "wear",
    "options": "options",
}
"""The attribute group of each term; terms that are not here go into one more."""


def by_attribute_group(cars: Characteristics, periods: int) -> Floats:
    """Each sale's group level and the worth of its characteristics by attribute group (n x m), as the
    time-dummy regression over all periods has them; attribute groups that never vary are left out.

    A hedonic regression of a single period on these lets the worth of every attribute group move through time
    with a handful of coefficients, where one on all characteristics would need hundreds of sales.
    """
    window = whole_window(cars, periods)
    names = [ATTRIBUTE_GROUP.get(term, "other") for term in cars.terms]
    columns = []
    for name in dict.fromkeys(names):
        own = [other == name for other in names]
        columns.append(cars.matrix[:, own] @ window.effects[own])
    rest = cars.log_price - cars.matrix @ window.effects - window.logs[cars.period]
    level = np.bincount(cars.group, rest * cars.weights) / np.bincount(cars.group, cars.weights)
    columns.append(level[cars.group])
    Z = np.column_stack(columns)
    return Z[:, np.ptp(Z, axis=0) > 1e-9]


def imputed_index(cars: Characteristics, periods: int, formula: str) -> LogIndex:
    """The index by one of ``FORMULAS``, of characteristics by attribute group; NaN in periods of too few
    sales for a regression of their own."""
    Z = by_attribute_group(cars, periods)
    present = np.flatnonzero(np.bincount(cars.period, minlength=periods) > _SPARE * (Z.shape[1] + 1))
    logs, errors, freedom = (np.full(periods, np.nan) for _ in range(3))
    if len(present) > 1:
        for place, result in imputation(cars.log_price, Z, cars.period, present, cars.weights).items():
            logs[place], errors[place] = result.logs[formula], result.errors[formula]
            freedom[place] = result.freedom[formula]
    return LogIndex(logs, errors, freedom)
