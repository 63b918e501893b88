"""Repeat-sales index: the same car sold twice needs no description, if nothing was done to it in between.

Bailey, Muth and Nourse (1963): log price ratio on a column a period, -1 at the first sale, +1 at the second.
Case and Shiller (1987): the same, weighted by one over the squared residual fitted on a constant and the time
between the sales.
"""

from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.evidence.indices.least_squares import LogIndex, least_squares
from pricing.vocabulary import CONDITION_BANDS

WEIGHTS: Final = ("equal", "by holding time")
BANDS: Final = pl.Enum(CONDITION_BANDS)
CHANGES: Final = ("leave out", "model")
"""What is done with pairs between whose sales the condition band changed."""


def sale_pairs(
    sales: pl.DataFrame, item: list[str], *, date: str = "event_date", price: str = "price"
) -> pl.DataFrame:
    """Each sale of an item with the item's next: first_date, second_date, first_price, second_price, days,
    first_band, second_band (null where the sales have none), by ``item`` columns.

    Sales without an item, and a second sale on the day of the first, make no pair.
    """
    graded = "condition_band" in sales.columns
    return (
        sales.filter(pl.struct(item).is_duplicated())
        .select(
            *item,
            first_date=pl.col(date),
            first_price=pl.col(price).cast(pl.Float64),
            first_band=pl.col("condition_band") if graded else pl.lit(None, dtype=pl.String),
        )
        .drop_nulls([*item, "first_price"])
        .sort(*item, "first_date", maintain_order=True)
        .with_columns(
            pl.col(f"first_{name}").shift(-1).over(item).alias(f"second_{name}")
            for name in ("date", "price", "band")
        )
        .drop_nulls("second_price")
        .with_columns(days=(pl.col("second_date") - pl.col("first_date")).dt.total_days())
        .filter(pl.col("days") > 0)
    )


def changed(pairs: pl.DataFrame) -> pl.Series:
    """Whether the band is known at both sales and differs; unknown bands give no sign of a change."""
    return (pairs["first_band"] != pairs["second_band"]).fill_null(False)


def band_changes(pairs: pl.DataFrame) -> Floats:
    """A column a step of the condition scale: +1 where the car climbed it between its sales, -1 where it went
    down it (pairs x 3)."""
    first, second = (
        pairs[name].cast(BANDS, strict=False).to_physical().cast(pl.Float64).to_numpy()
        for name in ("first_band", "second_band")
    )
    steps = np.arange(1, len(CONDITION_BANDS))
    climbed = (second[:, None] >= steps).astype(float) - (first[:, None] >= steps)
    return np.where((np.isnan(first) | np.isnan(second))[:, None], 0.0, climbed)


def repeat_sales(
    log_ratio: Floats,
    first: Ints,
    second: Ints,
    periods: int,
    *,
    days: Floats | None = None,
    controls: Floats | None = None,
) -> LogIndex:
    """The geometric index, NaN where no pair reaches a period; with ``days`` between the sales, weighted as
    Case and Shiller do.

    ``first`` and ``second`` are numbers of periods, which must differ; ``controls`` (pairs x c) are changes
    of the item to be held constant.

    >>> index = repeat_sales(np.log([3.0, 2.0 / 3.0, 1.0]), np.array([0, 1, 0]), np.array([1, 2, 2]), 3)
    >>> (100 * np.exp(index.logs)).round(4).tolist()
    [100.0, 238.1102, 125.9921]
    """
    X = (np.eye(periods)[second] - np.eye(periods)[first])[:, 1:]
    if controls is not None:
        X = np.column_stack([X, controls])
    fit = least_squares(X, log_ratio)
    if days is not None:
        fit = least_squares(X, log_ratio, holding_weights(fit.residuals, days))
    known = fit.estimable(periods - 1)
    logs, errors = np.zeros(periods), np.zeros(periods)
    logs[1:] = np.where(known, fit.coefficients[: periods - 1], np.nan)
    errors[1:] = np.where(known, np.sqrt(np.diag(fit.covariance())[: periods - 1]), np.nan)
    return LogIndex(logs, errors, np.full(periods, float(fit.freedom)))


def holding_weights(residuals: Floats, days: Floats) -> Floats:
    """Case and Shiller's weights: one over the squared residual fitted on a constant and the holding time.

    A fit that is not positive is raised to a tenth of the mean squared residual (no source: any floor keeps
    the weights finite).
    """
    squares = np.square(residuals)
    trend = least_squares(np.column_stack([np.ones(len(days)), days / 365.2425]), squares)
    fitted = squares - trend.residuals
    mean = float(squares.mean())
    return np.ones(len(days)) if mean <= 0.0 else np.asarray(1.0 / np.maximum(fitted, mean / 10.0))
