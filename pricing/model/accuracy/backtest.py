"""Rolling-origin backtest: at each of several days a model is fitted to what was known that day, and scored
on the sales from then until the next.

No sale is ever scored by a model that has seen it, or anything after it (Tashman 2000, rolling origins with
recalibration at each one).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.errors import ModelError, TableError
from pricing.model.accuracy.ratio_study import EDITION, ratio_study
from pricing.model.accuracy.scoring import LEVELS, coverage, crps_quantiles, interval_score, pinball
from pricing.model.features.spec import FeatureSpec
from pricing.model.prediction import DEPTHS
from pricing.model.price_model import PriceModel
from pricing.progress import Progress, untold

COVERAGES: Final = (0.8, 0.9)
"""Coverages of the ranges that are scored."""

SUFFIXES: Final = tuple(f"_{100 * share:g}" for share in COVERAGES)
"""What the columns of each coverage end in."""

FINE_LEVELS: Final = tuple((place + 0.5) / 50 for place in range(50))
"""Levels at which the CRPS is summed up."""

FIRST_SHARE: Final = 0.5
"""Share of the sales that the first model of a backtest is given, when origins are chosen."""

STUDY: Final = {
    "value": pl.String,
    **dict.fromkeys(("median_ratio", "median_ratio_low", "median_ratio_high"), pl.Float64),
    **dict.fromkeys(("weighted_mean", "weighted_mean_low", "weighted_mean_high"), pl.Float64),
    **dict.fromkeys(("cod", "cod_low", "cod_high", "cov"), pl.Float64),
    **dict.fromkeys(("prd", "prd_low", "prd_high", "prb", "prb_low", "prb_high"), pl.Float64),
    "suspicious": pl.Boolean,
}
"""Columns of the ratio study in a table of scores."""

Known = Callable[[date], pl.DataFrame]


@dataclass(frozen=True)
class Backtest:
    """One row a scored sale, and the scores of the whole and of its parts.

    ``rows`` holds ``origin``, ``event_date``, ``days_ahead``, the sale's own columns (``record_id``, groups,
    condition band, channel, year, as far as the frame has them), ``sale_year``, ``evidence`` (depth class at
    the origin), a column a level of ``LEVELS`` with the price not exceeded at it, ``mid`` (the middle one),
    ``actual`` (the price paid), and for each coverage of ``COVERAGES`` ``low_80``, ``high_80`` and
    ``reason_80`` (why no range was given, in which case the other two are null). Of log price, times 1,000:
    ``pinball`` (mean over the levels), ``crps``, ``interval_score_80`` (null without a range).

    ``parts`` are the columns by which scores are told apart, each with its values where they have an order.
    """

    rows: pl.DataFrame
    origins: tuple[date, ...]
    parts: Mapping[str, tuple[str, ...]]

    def scores(self, part: str | None = None) -> pl.DataFrame:
        """Scores overall, or for every value of the column ``part``: one row a value.

        Columns: ``part``, ``value`` (both null overall), ``sales``; means of ``pinball``, ``crps`` and
        ``interval_score_80``; for each coverage the columns of
        :func:`~pricing.model.accuracy.scoring.coverage` (``coverage_low_80``); and the ratio study of mid
        to actual price, null where the sales are too few.
        Widths of different coverages are of the same sales, those whose ranges of every coverage were given,
        so that a wider promise never looks narrower; where there is none, that of the first is of its own.

        Raises:
            ModelError: the rows have no such part.
        """
        if part is not None and part not in self.parts:
            raise ModelError(f"scores are told apart by {', '.join(self.parts)}; got {part!r}")
        value = pl.lit(None) if part is None else pl.col(part)
        rows = self.rows.with_columns(value.cast(pl.String).alias("value"))
        means = pl.col("pinball", "crps", *_named("interval_score")).mean()
        table = rows.group_by("value").agg(pl.len().alias("sales"), means)
        for suffix in SUFFIXES:
            held = coverage(rows, "value", low=f"low{suffix}", high=f"high{suffix}")
            own = held.rename({name: name + suffix for name in held.columns[1:]})
            table = table.join(own, on="value", nulls_equal=True)
        has_range = pl.all_horizontal(pl.col(_named("low") + _named("high")).is_not_null())
        width = [(pl.col(f"high{suffix}") / pl.col(f"low{suffix}")).filter(has_range) for suffix in SUFFIXES]
        alike = rows.group_by("value").agg(
            each.median().alias(f"width{suffix}") for each, suffix in zip(width, SUFFIXES, strict=True)
        )
        first, *_ = _named("width")
        table = table.join(alike, on="value", nulls_equal=True, suffix="_alike").with_columns(
            pl.coalesce(f"{first}_alike", first).alias(first),
            *(pl.col(f"{name}_alike").alias(name) for name in _named("width")[1:]),
        )
        table = table.drop(pl.selectors.ends_with("_alike"))
        groups = rows.partition_by("value", as_dict=True)
        studies = [
            {**ratio_study(group["mid"], group["actual"]).to_dict(), "value": name}
            for (name,), group in groups.items()
            if len(group) > 1
        ]
        studied = pl.DataFrame(studies, schema=STUDY)
        place = {name: place for place, name in enumerate(self.parts.get(part or "", ()))}
        order = pl.col("value").replace_strict(place, default=None, return_dtype=pl.Int32)
        return (
            table.join(studied, on="value", how="left", nulls_equal=True)
            .sort(order, "value", nulls_last=True)
            .select(pl.lit(part, dtype=pl.String).alias("part"), pl.all())
        )

    def summary(self) -> pl.DataFrame:
        """The scores overall, then by every part, one under the other."""
        return pl.concat([self.scores(), *(self.scores(part) for part in self.parts)])

    def to_dict(self) -> dict[str, Any]:
        """Every score as plain values."""
        return {
            "origins": [origin.isoformat() for origin in self.origins],
            "sales": len(self.rows),
            "levels": list(LEVELS),
            "ratio_study": EDITION,
            "scores": self.summary().to_dicts(),
        }


def rolling_origins(frame: pl.DataFrame, spec: FeatureSpec, count: int) -> tuple[date, ...]:
    """Days at which to refit, so that the later half of the sales falls into ``count`` parts of about the
    same size; fewer where too many sales fall on a day.

    Raises:
        TableError: the frame has no date or no price.
        ModelError: ``count`` is below 1, or no sale is later than the first half.

    >>> sales = pl.DataFrame({"price": [1.0] * 8, "event_date": [date(2020, 1, day) for day in range(1, 9)]})
    >>> [origin.day for origin in rolling_origins(sales, FeatureSpec(event_date="event_date"), 2)]
    [4, 6]
    """
    if count < 1:
        raise ModelError(f"a backtest needs at least 1 origin; got {count}")
    days = _sold(frame, spec)[_date_column(spec)].sort()
    shares = FIRST_SHARE + (1.0 - FIRST_SHARE) * np.arange(count) / count
    places = np.maximum((len(days) * shares).astype(int) - 1, 0)
    chosen = [] if days.is_empty() else days.gather(places).unique().sort().to_list()
    origins = tuple(day for day in chosen if day < days[-1])
    if not origins:
        raise ModelError(f"a backtest needs sales on several days; got {len(days)} on {days.n_unique()}")
    return origins


def backtest(
    frame: pl.DataFrame,
    spec: FeatureSpec,
    origins: Sequence[date],
    *,
    known: Known | None = None,
    seed: int = 0,
    progress: Progress = untold,
) -> Backtest:
    """Fit a price model at each origin and score it on the sales after it, up to the next origin.

    Args:
        frame: rows as ``Market.sales`` gives them; its sales are scored.
        spec: the part each column plays; it must name a date.
        origins: days at which the model is fitted anew, in any order.
        known: the rows as they were known at the end of a day, such as ``market.sales``; by default the rows
            of ``frame`` dated up to it.
        seed: of the models.
        progress: told what is done, how many origins are, and of how many.

    Raises:
        TableError: the frame has no date or no price.
        ModelError: there is no origin, no sale at or before the first, none after it, or a price that is not
            positive and finite.
    """
    when = _date_column(spec)
    days = sorted(set(origins))
    if not days:
        raise ModelError("a backtest needs at least 1 origin; got none")
    sold = _sold(frame, spec).sort(when, maintain_order=True)
    if known is None:
        dated = frame.drop_nulls(when)

        def known(day: date) -> pl.DataFrame:
            return dated.filter(pl.col(when) <= day)

    parts = []
    for place, (origin, until) in enumerate(zip(days, [*days[1:], date.max], strict=True)):
        progress("fit at each origin, score what came", place, len(days))
        later = sold.filter(pl.col(when) > origin, pl.col(when) <= until)
        if later.is_empty():
            continue
        parts.append(_scored(PriceModel(spec, seed).fit(known(origin)), later, origin))
    if not parts:
        raise ModelError(f"no sale is later than the first origin, {days[0]}: there is nothing to score")
    progress("fit at each origin, score what came", len(days), len(days))
    rows = pl.concat(parts)
    orders = {"evidence": DEPTHS, spec.condition: spec.condition_bands}
    told_apart = ("evidence", spec.condition, *spec.groups[:1], spec.asking_by, "sale_year", "decade")
    return Backtest(
        rows, tuple(days), {name: orders.get(name, ()) for name in told_apart if name in rows.columns}
    )


def _scored(model: PriceModel, sales: pl.DataFrame, origin: date) -> pl.DataFrame:
    spec, when = model.spec, _date_column(model.spec)
    cars = sales.select(name for name in sales.columns if name in (*spec.features, when))
    actual = sales[spec.price].cast(pl.Float64)
    prices = model.distribution(cars)
    quantiles = prices.ppf(LEVELS)
    log, fine = np.log(actual.to_numpy()), np.log(prices.ppf(FINE_LEVELS))
    losses = pinball(log[:, None], np.log(quantiles), np.array(LEVELS)).mean(axis=1)
    own = ("record_id", spec.condition, *spec.groups, spec.asking_by, "year")
    rows = sales.select(
        pl.lit(origin).alias("origin"),
        pl.col(when).alias("event_date"),
        (pl.col(when) - pl.lit(origin)).dt.total_days().alias("days_ahead"),
        *(pl.col(name) for name in dict.fromkeys(own) if name in sales.columns),
        pl.col(when).dt.year().alias("sale_year"),
    ).with_columns(
        *(pl.Series(f"{level:g}", quantiles[:, place]) for place, level in enumerate(LEVELS)),
        pl.Series("mid", prices.mid),
        actual.alias("actual"),
        pl.Series("pinball", 1000.0 * losses),
        pl.Series("crps", 1000.0 * crps_quantiles(log, fine, np.array(FINE_LEVELS))),
    )
    if "year" in rows.columns:
        rows = rows.with_columns((pl.col("year").cast(pl.Int32) // 10 * 10).alias("decade"))
    for share, suffix in zip(COVERAGES, SUFFIXES, strict=True):
        ranges = prices.ranges(share)
        rows = rows.with_columns(
            ranges["evidence"],
            *(ranges[end].alias(end + suffix) for end in ("low", "high", "reason")),
            _range_scores(log, ranges, share).alias("interval_score" + suffix),
        )
    return rows


def _range_scores(log: Floats, ranges: pl.DataFrame, share: float) -> pl.Series:
    has_range = ranges["low"].is_not_null().to_numpy()
    low, high = (np.log(ranges[end].to_numpy()[has_range]) for end in ("low", "high"))
    scores = np.full(len(has_range), np.nan)
    scores[has_range] = 1000.0 * interval_score(log[has_range], low, high, share)
    return pl.Series(scores).fill_nan(None)


def _named(name: str) -> list[str]:
    return [name + suffix for suffix in SUFFIXES]


def _date_column(spec: FeatureSpec) -> str:
    if spec.event_date is None:
        raise TableError("a backtest needs sales in order of date; the feature spec names no date column")
    return spec.event_date


def _sold(frame: pl.DataFrame, spec: FeatureSpec) -> pl.DataFrame:
    """Dated sales with a price, which is positive and finite."""
    absent = [name for name in (_date_column(spec), spec.price) if name not in frame.columns]
    if absent:
        raise TableError(f"the frame lacks the column {', '.join(absent)}; it has {', '.join(frame.columns)}")
    outcome = pl.col(spec.outcome) if spec.outcome in frame.columns else pl.lit("sold")
    sold = frame.filter(outcome == "sold").drop_nulls([_date_column(spec), spec.price])
    price = pl.col(spec.price).cast(pl.Float64)
    wrong = sold.filter(~(price.is_finite() & (price > 0))).height
    if wrong:
        raise ModelError(f"{wrong} of {len(sold)} prices in column {spec.price} are not positive and finite")
    return sold
