"""The premium of each condition band over the next, through time."""

from dataclasses import replace
from datetime import date
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.market.characteristics import Characteristics
from pricing.market.least_squares import least_squares
from pricing.model.spec import FeatureSpec
from pricing.vocabulary import CONDITION_BANDS

MINIMUM: Final = 5
"""Sales that both bands need in a span."""

CONFIDENCE: Final = 0.95

_SCHEMA: Final = {
    "from_date": pl.Date, "to_date": pl.Date, "band": pl.String, "next_below": pl.String, "sales": pl.Int64,
    "per_cent": pl.Float64, "low": pl.Float64, "high": pl.Float64,
}  # fmt: skip


def band_premiums(sold: pl.DataFrame, spec: FeatureSpec, at: date, *, years: int = 2) -> pl.DataFrame:
    """What a car of each band fetches over one of the next below, in spans of ``years`` back from ``at``:
    ``from_date`` (excluded), ``to_date``, ``band``, ``next_below``, ``sales`` (in the two), ``per_cent``, ``low``,
    ``high``; nulls where a band has fewer than ``MINIMUM`` sales in the span.

    One regression a span on graded sales, of log price on steps of band and all other characteristics, the level of
    every group and of every year free (dummies swept out by group, years as columns).
    """
    graded = sold.filter(pl.col("condition_band").is_not_null())
    rows = []
    end: date = at
    while not graded.is_empty() and end >= graded["event_date"].min():  # type: ignore[operator]
        start = pl.select(pl.lit(end).dt.offset_by(f"-{years}y")).item()
        part = graded.filter((pl.col("event_date") > start) & (pl.col("event_date") <= end))
        rows += _span(part, spec, start, end)
        end = start
    return pl.DataFrame(rows, schema=_SCHEMA).sort("from_date", maintain_order=True)


def _span(part: pl.DataFrame, spec: FeatureSpec, start: date, end: date) -> list[dict[str, object]]:
    bands = part["condition_band"].to_list()
    counts = [bands.count(band) for band in CONDITION_BANDS]
    found = _steps(part, spec) if len(part) > 2 * MINIMUM else None
    reach = float(stats.norm.ppf((1.0 + CONFIDENCE) / 2.0))
    rows: list[dict[str, object]] = []
    for k in range(1, len(CONDITION_BANDS)):
        row: dict[str, object] = {
            "from_date": start, "to_date": end, "band": CONDITION_BANDS[k], "next_below": CONDITION_BANDS[k - 1],
            "sales": counts[k] + counts[k - 1], "per_cent": None, "low": None, "high": None,
        }  # fmt: skip
        if found is not None and min(counts[k], counts[k - 1]) >= MINIMUM:
            effect, error = found[0][k - 1], found[1][k - 1]
            if np.isfinite(error):
                ends = (effect, effect - reach * error, effect + reach * error)
                row |= dict(zip(("per_cent", "low", "high"), (100.0 * np.expm1(ends)).tolist(), strict=True))
        rows.append(row)
    return rows


def _steps(part: pl.DataFrame, spec: FeatureSpec) -> tuple[np.ndarray, np.ndarray] | None:
    """Log premium of each step and its standard error (White 1980); infinite where the sales cannot tell it."""
    year = (part["event_date"].dt.year() - part["event_date"].dt.year().min()).to_numpy()  # type: ignore[operator]
    plain = replace(spec, condition=None, condition_score=None)
    cars = Characteristics.of(part, plain, year.astype(np.int64))
    place = {band: k for k, band in enumerate(CONDITION_BANDS)}
    band = part["condition_band"].replace_strict(place, return_dtype=pl.Int64).to_numpy()[cars.order]
    steps = (band[:, None] >= np.arange(1, len(CONDITION_BANDS))).astype(float)
    years = (cars.period[:, None] == np.arange(1, int(cars.period.max()) + 1)).astype(float)
    X = np.column_stack([steps, years, cars.matrix])
    size = np.bincount(cars.group)

    def swept(values: np.ndarray) -> np.ndarray:
        means = np.stack([np.bincount(cars.group, column) for column in values.T], axis=1) / size[:, None]
        return values - means[cars.group]

    X, y = swept(X), swept(cars.log_price[:, None])[:, 0]
    fit = least_squares(X, y)
    free = len(y) - fit.rank - len(size)
    if free <= 0:
        return None
    width = steps.shape[1]
    told = np.abs((fit.inverse @ (X.T @ X) - np.eye(X.shape[1]))[:width]).max(axis=1) < 1e-6
    scores = X * fit.residuals[:, None]
    covariance = fit.inverse @ (scores.T @ scores) @ fit.inverse * (len(y) / free)
    return fit.coefficients[:width], np.where(told, np.sqrt(np.diag(covariance)[:width]), np.inf)
