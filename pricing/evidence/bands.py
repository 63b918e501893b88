"""The premium of each condition band over the next, through time."""

from dataclasses import replace
from datetime import date
from typing import Any, Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats, Ints
from pricing.evidence.indices.characteristics import Characteristics
from pricing.evidence.indices.least_squares import least_squares
from pricing.evidence.indices.repeat_sales import BANDS
from pricing.model.features.spec import FeatureSpec
from pricing.vocabulary import CONDITION_BANDS

MINIMUM: Final = 5
"""Sales that both bands need in a span."""

LEAST_FREEDOM: Final = 10
"""Sales that the regression needs beyond its coefficients."""

CONFIDENCE: Final = 0.95

_SCHEMA: Final = {
    "from_date": pl.Date, "to_date": pl.Date, "band": pl.String, "next_below": pl.String, "sales": pl.Int64,
    "per_cent": pl.Float64, "low": pl.Float64, "high": pl.Float64, "price_below": pl.Float64,
}  # fmt: skip


def band_premiums(sold: pl.DataFrame, spec: FeatureSpec, at: date, *, years: int = 2) -> pl.DataFrame:
    """What a car of each band fetches over one of the next below, in spans of ``years`` back from ``at``.

    Columns: ``from_date`` (excluded), ``to_date``, ``band``, ``next_below``, ``sales`` (in the two),
    ``per_cent``, ``low``, ``high``, ``price_below`` (the median price of the band below in the span); nulls
    where a band has fewer than ``MINIMUM`` sales in the span, or all of them cannot bear the regression.

    One regression on graded sales: log price on the steps of the scale, each with a value a span, and on all
    other characteristics and the years, the level of every group left free. Intervals are Student's, whatever
    the spread of each sale (White 1980).
    """
    graded = sold.filter(pl.col("condition_band").is_not_null(), pl.col("event_date") <= at)
    if graded.is_empty():
        return pl.DataFrame(schema=_SCHEMA)
    ends = [at]
    first: Any = graded["event_date"].min()
    while ends[-1] >= first:
        ends.append(pl.select(pl.lit(ends[-1]).dt.offset_by(f"-{years}y")).item())
    edges = ends[::-1]
    days = graded["event_date"].to_physical().to_numpy()
    bounds = pl.Series(edges, dtype=pl.Date).to_physical().to_numpy()
    span = np.searchsorted(bounds, days, side="left") - 1
    band = graded["condition_band"].cast(BANDS).to_physical().cast(pl.Int64).to_numpy()
    effects, errors, freedom = _steps(graded, spec, band, span, len(edges) - 1)
    counts = np.zeros((len(edges) - 1, len(CONDITION_BANDS)), dtype=np.int64)
    np.add.at(counts, (span, band), 1)
    both = counts[:, 1:] + counts[:, :-1]
    estimable = (np.minimum(counts[:, 1:], counts[:, :-1]) >= MINIMUM) & np.isfinite(errors)
    quantile = float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, max(freedom, 1)))
    reach = quantile * np.where(estimable, errors, 0.0)
    values = [np.where(estimable, 100.0 * np.expm1(effects + side * reach), np.nan) for side in (0, -1, 1)]
    steps = len(CONDITION_BANDS) - 1
    prices = _median_prices(graded, band, span, len(edges) - 1)
    return pl.DataFrame(
        {
            "from_date": [day for day in edges[:-1] for _ in range(steps)],
            "to_date": [day for day in edges[1:] for _ in range(steps)],
            "band": list(CONDITION_BANDS[1:]) * (len(edges) - 1),
            "next_below": list(CONDITION_BANDS[:-1]) * (len(edges) - 1),
            "sales": both.ravel(),
            **{name: value.ravel() for name, value in zip(("per_cent", "low", "high"), values, strict=True)},
            "price_below": np.where(estimable, prices[:, :-1], np.nan).ravel(),
        },
        schema=_SCHEMA,
        nan_to_null=True,
    )


def _median_prices(graded: pl.DataFrame, band: Ints, span: Ints, spans: int) -> Floats:
    """The median price of each band in each span (spans x bands); not a number without a sale."""
    priced = graded.select(pl.col("price").cast(pl.Float64), band=pl.Series(band), span=pl.Series(span))
    medians = priced.group_by("span", "band").agg(pl.col("price").median())
    prices = np.full((spans, len(CONDITION_BANDS)), np.nan)
    prices[medians["span"].to_numpy(), medians["band"].to_numpy()] = medians["price"].to_numpy()
    return prices


def _steps(
    graded: pl.DataFrame, spec: FeatureSpec, band: Ints, span: Ints, spans: int
) -> tuple[Floats, Floats, int]:
    """Log premium of each step in each span (spans x steps), its standard error, infinite where the sales
    cannot tell it, and the degrees of freedom."""
    year = graded["event_date"].dt.year().to_numpy().astype(np.int64)
    cars = Characteristics.of(graded, replace(spec, condition=None, condition_score=None), year - year.min())
    steps = np.arange(1, len(CONDITION_BANDS))
    climbed = (band[:, None] >= steps) * 1.0
    blocks = ((span[:, None] == np.arange(spans))[:, :, None] * climbed[:, None, :]).reshape(len(band), -1)
    years = (cars.period[:, None] == np.arange(1, int(cars.period.max()) + 1)) * 1.0
    X = np.column_stack([blocks[cars.order], years, cars.matrix])
    size = np.bincount(cars.group)

    def swept(values: Floats) -> Floats:
        means = np.stack([np.bincount(cars.group, column) for column in values.T], axis=1) / size[:, None]
        return np.asarray(values - means[cars.group])

    X, y = swept(X), swept(cars.log_price[:, None])[:, 0]
    fit = least_squares(X, y)
    width, freedom = blocks.shape[1], len(y) - fit.rank - len(size)
    shape = (spans, len(steps))
    if freedom < LEAST_FREEDOM:
        return np.zeros(shape), np.full(shape, np.inf), freedom
    estimable = fit.estimable(width)
    scores = X * fit.residuals[:, None]
    covariance = fit.inverse @ (scores.T @ scores) @ fit.inverse * (len(y) / freedom)
    errors = np.where(estimable, np.sqrt(np.diag(covariance)[:width]), np.inf)
    return fit.coefficients[:width].reshape(shape), errors.reshape(shape), freedom
