"""The date line of comparable sales as an index: what is printed is what moved the prices."""

from datetime import date
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats
from pricing.errors import EvidenceError
from pricing.evidence.comparison.date_line import LENGTH, DateLine
from pricing.evidence.indices.index import LEAST_FREEDOM, PriceIndex, levels
from pricing.evidence.indices.periods import Periods
from pricing.evidence.indices.time_dummy import time_dummy

COVERAGE: Final = 0.95


def date_index(line: DateLine, coverage: float = COVERAGE) -> PriceIndex:
    """The index that a date line is, one row a quarter that it was read from, with its intervals (see
    ``cluster_robust``). ``day`` in its frame (since 1970) is where a quarter's level is taken; between two
    of them the log index runs straight, and outside it is level.

    Raises:
        EvidenceError: fewer than two quarters have enough sales, so that the line is level.
    """
    if len(line.logs) < 2:
        raise EvidenceError(
            "fewer than two quarters have enough sales for an index; prices are left as they are"
        )
    made = time_dummy(line.cars, int(line.cars.period.max()) + 1)
    freedom = np.where(made.freedom[line.told] >= LEAST_FREEDOM, made.freedom[line.told], np.nan)
    freedom[0], base = np.inf, line.logs[0]
    errors = np.where(np.isfinite(freedom) | np.isinf(freedom), made.errors[line.told], np.nan)
    errors[0] = 0.0
    reach = stats.t.ppf((1.0 + coverage) / 2.0, np.nan_to_num(freedom, nan=1.0)) * errors
    logs = line.logs - base
    middles = pl.Series([date.fromordinal(_EPOCH + int(day)) for day in line.middles], dtype=pl.Date)
    names = [Periods.spanning(pl.Series([day]), LENGTH) for day in middles]
    counts = np.bincount(line.cars.period, minlength=int(line.told.max()) + 1)[line.told]
    frame = pl.DataFrame(
        {
            "period": [name.names[0] for name in names],
            "starts": pl.Series([name.starts[0] for name in names], dtype=pl.Date),
            "day": line.middles,
            "sales": counts,
            **levels(logs, errors, reach, freedom),
        },
        nan_to_null=True,
    ).with_columns(note=pl.lit(None, dtype=pl.String), real=pl.lit(None, dtype=pl.Float64))
    return PriceIndex(
        "time dummy", LENGTH, "the whole market", frame["period"][0], coverage, None, frame, made.clusters
    )


def date_errors(line: DateLine, first: Floats, second: Floats) -> Floats:
    """Standard deviation of the log move of the market from each day to another: the index's own errors,
    together as the regression has them."""
    if len(line.logs) < 2:
        return np.zeros(len(first))
    made = time_dummy(line.cars, int(line.cars.period.max()) + 1)
    errors = np.nan_to_num(made.errors[line.told])
    k = line.cars.matrix.shape[1]
    block = line.window.inverse[k:, k:][np.ix_(line.told[1:] - 1, line.told[1:] - 1)]
    scale = np.sqrt(np.maximum(np.diag(block), 1e-300))
    together = np.zeros((len(errors), len(errors)))
    together[1:, 1:] = block / np.outer(scale, scale) * np.outer(errors[1:], errors[1:])
    weights = _reading(line, second) - _reading(line, first)
    return np.asarray(np.sqrt(np.maximum(np.einsum("nt,ts,ns->n", weights, together, weights), 0.0)))


def _reading(line: DateLine, days: Floats) -> Floats:
    """The weight of every quarter in the level at each day (n x T)."""
    levels = np.eye(len(line.middles))
    return np.column_stack([np.interp(days, line.middles, level) for level in levels])


_EPOCH: Final = date(1970, 1, 1).toordinal()
