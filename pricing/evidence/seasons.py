"""Whether prices have a season: given only where the sales show one."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.evidence.indices.periods import Periods
from pricing.evidence.indices.time_dummy import cars_of_periods, kept_periods, whole_window
from pricing.model.features.spec import FeatureSpec

QUARTERS: Final = ("January to March", "April to June", "July to September", "October to December")
SIGNIFICANCE: Final = 0.01
MINIMUM: Final = 10
"""Sales that a quarter of a year needs to be looked at."""

FEWEST_YEARS: Final = 3


@dataclass(frozen=True)
class Seasons:
    """``p_value`` of no season (null: too few sales to test), and ``effects`` by quarter of the year against
    the mean of the four, in per cent with its 95 % interval; no rows unless ``p_value`` is below
    ``SIGNIFICANCE``."""

    years: int
    p_value: float | None
    effects: pl.DataFrame


_NONE: Final = pl.DataFrame(
    schema={"season": pl.String, "per_cent": pl.Float64, "low": pl.Float64, "high": pl.Float64}
)


def seasons(sold: pl.DataFrame, spec: FeatureSpec) -> Seasons:
    """Test a season in the quarterly time-dummy index: its quarter-on-quarter moves against the quarter of
    the year.

    The moves of the log index are regressed on the change of quarter-of-year dummies, a constant drift beside
    them; the test is the F test of three dummies. The whole season's weight rests on years, of which there
    are few, so the test uses the index, not the many sales behind each of its points.
    """
    periods = Periods.spanning(sold["event_date"], "quarter")
    code = periods.codes(sold["event_date"])
    periods_kept = kept_periods(code, len(periods), MINIMUM)
    starts = pl.Series(periods.starts, dtype=pl.Date)
    years = int(starts[periods_kept].dt.year().n_unique()) if len(periods_kept) else 0
    if years < FEWEST_YEARS or len(periods_kept) < 4 * FEWEST_YEARS:
        return Seasons(years, None, _NONE)
    _, cars = cars_of_periods(sold, spec, code, periods_kept)
    window = whole_window(cars, len(periods_kept))
    if not window.estimable.all():
        return Seasons(years, None, _NONE)
    quarter = (starts[periods_kept].dt.month().to_numpy() - 1) // 3
    return _tested(window.logs, quarter, periods_kept, years)


def _tested(logs: np.ndarray, quarter: np.ndarray, places: np.ndarray, years: int) -> Seasons:
    effect = np.eye(4)[quarter][:, :3] - (quarter == 3)[:, None]  # effects that add up to nought
    moves, change, gap = np.diff(logs), np.diff(effect, axis=0), np.diff(places)[:, None].astype(float)
    scale = np.sqrt(gap)  # a random walk moves by the root of the time between
    full = np.hstack([gap, change]) / scale
    y = moves / scale[:, 0]
    free = len(y) - full.shape[1]
    beta, *_ = np.linalg.lstsq(full, y, rcond=None)
    drift, *_ = np.linalg.lstsq(full[:, :1], y, rcond=None)
    left, left_without = y - full @ beta, y - full[:, :1] @ drift
    noise = float(left @ left) / free
    if noise <= 0.0:
        return Seasons(years, None, _NONE)
    ratio = (float(left_without @ left_without) - float(left @ left)) / 3.0 / noise
    p_value = float(stats.f.sf(ratio, 3, free))
    if p_value >= SIGNIFICANCE:
        return Seasons(years, p_value, _NONE)
    to_four = np.vstack([np.eye(3), -np.ones(3)])
    covariance = noise * np.linalg.inv(full.T @ full)[1:, 1:]
    middle = to_four @ beta[1:]
    reach = float(stats.t.ppf(0.975, free)) * np.sqrt(np.diag(to_four @ covariance @ to_four.T))
    ends = {"per_cent": middle, "low": middle - reach, "high": middle + reach}
    return Seasons(
        years, p_value,
        pl.DataFrame({"season": QUARTERS, **{name: 100.0 * np.expm1(value) for name, value in ends.items()}}),
    )  # fmt: skip
