"""Scores of a forecast against what came: pinball, CRPS, interval score; coverage and width of ranges.

Every score is negatively oriented (lower is better), proper, and in the unit of what is forecast (Gneiting
and Raftery 2007). Arguments broadcast as numpy arrays do.
"""

from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy import stats

from pricing.arrays import Floats
from pricing.errors import ModelError

LEVELS: Final = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
"""Levels at which quantile forecasts are compared."""


def pinball(actual: ArrayLike, quantile: ArrayLike, level: ArrayLike) -> Floats:
    """Pinball loss of a quantile: ``level`` a unit that ``actual`` lies above it, ``1 - level`` a unit below
    (Koenker and Bassett 1978). For all levels at once give ``actual[:, None]`` and a row of quantiles a sale.

    Raises:
        ModelError: a value is not finite, or a level is not strictly between 0 and 1.

    >>> float(pinball(3.0, 1.0, 0.25)), float(pinball(1.0, 3.0, 0.25))
    (0.5, 1.5)
    """
    y, q = _finite("actual", actual), _finite("quantile", quantile)
    a = _probability("level", level)
    return np.asarray(np.maximum(a * (y - q), (a - 1.0) * (y - q)))


def interval_score(actual: ArrayLike, low: ArrayLike, high: ArrayLike, coverage: ArrayLike) -> Floats:
    """Winkler's score of a central range (1972): its width, and ``2 / (1 - coverage)`` for every unit that
    ``actual`` lies outside it; ``2 / (1 - coverage)`` times the pinball losses of both its ends.

    Raises:
        ModelError: a value is not finite, ``coverage`` is not strictly between 0 and 1, or low exceeds high.

    >>> round(float(interval_score(3.0, 1.0, 2.5, 0.8)), 9)
    6.5
    """
    y, low, high = _finite("actual", actual), _finite("low", low), _finite("high", high)
    outside = 1.0 - _probability("coverage", coverage)
    if np.any(low > high):
        raise ModelError("the low end of a range exceeds its high end")
    missed = np.maximum(low - y, 0.0) + np.maximum(y - high, 0.0)
    return np.asarray(high - low + 2.0 / outside * missed)


def crps_quantiles(actual: ArrayLike, quantiles: ArrayLike, levels: ArrayLike) -> Floats:
    """Continuous ranked probability score from quantiles (last axis) at rising ``levels``: twice the integral
    of the pinball loss over all levels, each loss standing for the levels nearest its own.

    At the levels ``(i - 1/2) / m`` it is the score of the ensemble of those ``m`` values, exactly.

    Raises:
        ModelError: a value is not finite, or the levels do not rise strictly within 0 and 1.

    >>> float(crps_quantiles(3.0, [1.0, 2.0, 4.0], [1 / 6, 1 / 2, 5 / 6]))
    0.6666666666666666
    """
    a = np.atleast_1d(_probability("level", levels))
    if np.any(np.diff(a) <= 0):
        raise ModelError(f"levels must rise; got {a.tolist()}")
    edges = np.concatenate([[0.0], (a[1:] + a[:-1]) / 2.0, [1.0]])
    losses = pinball(np.expand_dims(_finite("actual", actual), -1), quantiles, a)
    return np.asarray(2.0 * losses @ np.diff(edges))


def binomial_interval(hits: ArrayLike, trials: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Exact interval of a share (Clopper and Pearson 1934); from 0 to 1 where there was no trial.

    >>> low, high = binomial_interval(0, 10)
    >>> round(float(low), 4), round(float(high), 4)
    (0.0, 0.3085)
    """
    k, n = np.asarray(hits, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    tail = (1.0 - confidence) / 2.0
    low = np.where(k > 0, stats.beta.ppf(tail, np.maximum(k, 1.0), n - k + 1.0), 0.0)
    high = np.where(k < n, stats.beta.ppf(1.0 - tail, k + 1.0, np.maximum(n - k, 1.0)), 1.0)
    return low, high


def coverage(
    ranges: pl.DataFrame,
    by: str | None = None,
    *,
    actual: str = "actual",
    low: str = "low",
    high: str = "high",
    confidence: float = 0.95,
) -> pl.DataFrame:
    """How often ranges held what came, and how wide they were, overall or for every value of column ``by``.

    A row whose ``low`` or ``high`` is null is one for which no range was given. Columns: ``by``, ``ranges``
    (given), ``withheld``, ``covered`` (number), ``coverage`` (share of the ranges given; null when none was),
    ``coverage_low`` and ``coverage_high`` (exact binomial interval) and ``width``, the median of high over
    low.

    Raises:
        ModelError: an actual price is null, a price is not positive and finite, or low exceeds high.

    >>> frame = pl.DataFrame({"actual": [2.0, 5.0], "low": [1.0, 1.0], "high": [4.0, 4.0]})
    >>> coverage(frame).select("ranges", "covered", "coverage", "width").row(0)
    (2, 1, 0.5, 4.0)
    """
    rows = ranges.with_columns(pl.col(actual, low, high).cast(pl.Float64))
    has_range = pl.col(low).is_not_null() & pl.col(high).is_not_null()
    prices = pl.concat([rows[name].drop_nulls() for name in (actual, low, high)])
    wrong = rows.filter(pl.col(actual).is_null() | (pl.col(low) > pl.col(high))).height
    if wrong or not (prices.is_finite() & (prices > 0)).all():
        raise ModelError("ranges are scored with positive, finite prices, low not above high")
    facts = [
        has_range.sum().alias("ranges"),
        (~has_range).sum().alias("withheld"),
        pl.col(actual).is_between(low, high).sum().alias("covered"),
        (pl.col(high) / pl.col(low)).median().alias("width"),
    ]
    table = rows.select(facts) if by is None else rows.group_by(by).agg(facts).sort(by, nulls_last=True)
    least, most = binomial_interval(table["covered"].to_numpy(), table["ranges"].to_numpy(), confidence)
    return table.with_columns(
        coverage=pl.when(pl.col("ranges") > 0).then(pl.col("covered") / pl.col("ranges")),
        coverage_low=pl.Series(least),
        coverage_high=pl.Series(most),
    ).select(*([by] if by else []), "ranges", "withheld", "covered", "^coverage.*$", "width")


def _finite(name: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise ModelError(f"{name} must be finite to be scored; got {_first(array, ~np.isfinite(array))}")
    return array


def _probability(name: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    inside = (array > 0.0) & (array < 1.0)
    if not np.all(inside):
        raise ModelError(f"{name} lies strictly between 0 and 1; got {_first(array, ~inside)}")
    return array


def _first(array: Floats, wrong: Any) -> float:
    return float(array[wrong][0])
