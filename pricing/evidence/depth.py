"""How much evidence there is about a model, and what offers say beside sales: what cars that were advertised
and then sold fetched, against what was asked."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.errors import EvidenceError
from pricing.evidence.bands import band_premiums
from pricing.evidence.comparison.date_line import DateLine
from pricing.evidence.comparison.term_effects import TermEffects
from pricing.evidence.indices.index import sold_cars
from pricing.evidence.seasons import Seasons, seasons
from pricing.model.accuracy.ratio_study import median_interval
from pricing.model.accuracy.scoring import binomial_interval
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel

YEARS: Final = (1, 3, 5)
CONFIDENCE: Final = 0.95

MOST_DAYS: Final = 365
"""An asking price says nothing about a sale more than this many days later."""

FEWEST: Final = 2
"""Pairs below which the gap has no interval."""


@dataclass(frozen=True)
class MatchedAskingGap:
    """``per_cent`` that the sold price lies under (negative) or over the asking price, in the middle
    (geometric mean), with the interval ``low`` to ``high`` of that mean and the ``pairs`` behind it.

    Without a pair all three are null: unknown. With one pair there is no interval.
    """

    pairs: int
    per_cent: float | None
    low: float | None
    high: float | None
    matched: pl.DataFrame


def asking_gap(records: pl.DataFrame) -> MatchedAskingGap:
    """From pairs of the same car (make and chassis number): a sale and the last asking price within
    ``MOST_DAYS`` before it, both in the base currency. The interval is Student's, on the log scale.

    A car sold is not any car advertised: those that never sold are not in the pairs.
    """
    known = records.filter(pl.col("chassis_number").is_not_null(), pl.col("price").is_not_null())
    keys = ["make", "chassis_number"]
    asking_prices = known.filter(pl.col("outcome") == "asking").select(
        *keys, asked_on="event_date", asking="price", asking_id="record_id"
    )
    sold = known.filter(pl.col("outcome") == "sold").select(
        *keys, "event_date", sold="price", record_id="record_id", channel="channel"
    )
    matched = (
        sold.join(asking_prices, on=keys)
        .filter((pl.col("event_date") - pl.col("asked_on")).dt.total_days().is_between(0, MOST_DAYS))
        .sort("asked_on", "asking_id")
        .unique("record_id", keep="last", maintain_order=True)
        .unique("asking_id", keep="first", maintain_order=True)
        .with_columns(ratio=pl.col("sold").cast(pl.Float64) / pl.col("asking").cast(pl.Float64))
        .sort("event_date", "record_id")
    )
    pairs = len(matched)
    if not pairs:
        return MatchedAskingGap(0, None, None, None, matched)
    logs = np.log(matched["ratio"].to_numpy())
    middle = float(logs.mean())
    if pairs < FEWEST:
        return MatchedAskingGap(pairs, 100.0 * float(np.expm1(middle)), None, None, matched)
    reach = float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, pairs - 1)) * float(logs.std(ddof=1)) / np.sqrt(pairs)
    per_cent, low, high = (100.0 * np.expm1([middle, middle - reach, middle + reach])).tolist()
    return MatchedAskingGap(pairs, per_cent, low, high, matched)


@dataclass(frozen=True)
class Depth:
    """The evidence about a choice of sales at ``as_of``.

    Args:
        model: the model that the sales are of, where they are of one.
        recent: ``years``, ``sales`` in that many years, ``asking`` (offers seen without a sale known),
            ``unsold`` (lots that found no buyer).
        sold_share: share sold of lots that were offered at auction and either sold or not, with ``low`` and
            ``high`` (Clopper and Pearson 1934), by ``years``; null without lots.
        sold_by_year: the same share by calendar year of the sale, from the first lot to ``as_of``: ``year``,
            ``lots``, ``share``, ``low``, ``high``; a year without a lot has no share.
        against: hammer price over ``low_estimate``, ``mid_estimate``, ``high_estimate`` and ``reserve``:
            ``sales``, ``median`` ratio with its exact interval ``low`` and ``high`` (null where too few),
            ``below`` (share under it).
        effective_sales: sales of its own that the group's level would need to be known as well as it is, all
            that the pooling borrows counted; null without a price model.
        gap: asking over sold, from matched pairs; see ``asking_gap``.
        seasons: see ``seasons``.
        band_premiums: see ``bands.band_premiums``.
    """

    scope: str
    model: str | None
    as_of: date
    recent: pl.DataFrame
    sold_share: pl.DataFrame
    sold_by_year: pl.DataFrame
    against: pl.DataFrame
    effective_sales: float | None
    gap: MatchedAskingGap
    seasons: Seasons
    band_premiums: pl.DataFrame


def market_depth(
    records: pl.DataFrame,
    *,
    where: Mapping[str, str] | None = None,
    as_of: date | None = None,
    model: PriceModel | None = None,
    every_record: pl.DataFrame | None = None,
    spec: FeatureSpec | None = None,
) -> Depth:
    """The depth of evidence about the records (as ``Market.sales`` gives them) for which ``where`` holds.

    ``every_record`` is what the asking gap is matched from: ``Market.sales(every_record=True)``, since of a
    car that was advertised and then sold only the sale is one of ``records``.

    Raises:
        EvidenceError: there is no record of it by ``as_of``, or no sale at all.
    """
    wanted = {} if where is None else dict(where)
    chosen = _chosen(records, wanted, date.max)
    scope = " ".join(wanted.values()) if wanted else "the whole market"
    last: Any = chosen["event_date"].max()
    if last is None:
        raise EvidenceError(f"no record of {scope}")
    at = last if as_of is None else as_of
    known = chosen.filter(pl.col("event_date") <= at)
    sold = sold_cars(known)
    if sold.is_empty():
        first: Any = chosen["event_date"].min()
        raise EvidenceError(f"no sale of {scope} is on record by {at}; the first record is of {first}")
    parts = FeatureSpec.cars() if spec is None else spec
    return Depth(
        scope=scope,
        model=wanted.get("model"),
        as_of=at,
        recent=_recent(known, at),
        sold_share=_sold_share(known, at),
        sold_by_year=sold_by_year(known, at),
        against=_against(sold),
        effective_sales=None
        if model is None
        else effective_sales(model, sold[-1:], sold_cars(records.filter(pl.col("event_date") <= at))),
        gap=asking_gap(_chosen(known if every_record is None else every_record, wanted, at)),
        seasons=seasons(sold, parts),
        band_premiums=band_premiums(sold, parts, at),
    )


def effective_sales(model: PriceModel, car: pl.DataFrame, market: pl.DataFrame) -> float:
    """Sales that would tell the level of the car's group as well as the pooled model knows it: the variance
    of one sale of the market about its time-dummy regression over the posterior variance of the level."""
    effects = TermEffects(model)
    variance = effects.level_variance(effects.encode(car, car["event_date"][0]))
    residuals = DateLine.fit(market, model.spec).window.residuals
    return float(np.mean(np.square(residuals))) / max(variance, 1e-12)


def _chosen(records: pl.DataFrame, wanted: Mapping[str, str], at: date) -> pl.DataFrame:
    same = (pl.col(name) == value for name, value in wanted.items())
    return records.filter(pl.col("event_date") <= at, *same)


def _within(years: int, at: date) -> pl.Expr:
    start = pl.lit(at).dt.offset_by(f"-{years}y")
    return (pl.col("event_date") > start) & (pl.col("event_date") <= at)


def _recent(known: pl.DataFrame, at: date) -> pl.DataFrame:
    outcomes = {"sales": "sold", "asking": "asking", "unsold": "unsold"}
    counts = {name: (pl.col("outcome") == outcome).sum() for name, outcome in outcomes.items()}
    spans = (known.filter(_within(years, at)).select(years=pl.lit(years), **counts) for years in YEARS)
    return pl.concat(spans)


def _lots(known: pl.DataFrame) -> pl.DataFrame:
    """What was offered at auction and either sold or not."""
    return known.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))


def _sold_share(known: pl.DataFrame, at: date) -> pl.DataFrame:
    lots = _lots(known)
    parts = ((years, lots.filter(_within(years, at))["outcome"]) for years in YEARS)
    return _shares("years", [(years, len(part), int((part == "sold").sum())) for years, part in parts])


def sold_by_year(known: pl.DataFrame, at: date) -> pl.DataFrame:
    """The share of lots that sold, by calendar year from the first lot to ``at``; see ``Depth``.

    >>> lots = pl.DataFrame({"event_date": [date(2023, 5, 1)] * 4 + [date(2025, 5, 1)] * 2,
    ...     "channel": "auction", "outcome": ["sold", "sold", "sold", "unsold", "sold", "unsold"]})
    >>> sold_by_year(lots, date(2025, 6, 1)).select("year", "lots", "share").rows()
    [(2023, 4, 0.75), (2024, 0, None), (2025, 2, 0.5)]
    """
    counted = (
        _lots(known)
        .group_by(year=pl.col("event_date").dt.year().cast(pl.Int64))
        .agg(lots=pl.len(), sold=(pl.col("outcome") == "sold").sum())
        .rows_by_key("year", unique=True)
    )
    years = range(min(counted, default=at.year), at.year + 1) if counted else ()
    return _shares("year", [(year, *counted.get(year, (0, 0))) for year in years])


def _shares(name: str, counts: list[tuple[int, int, int]]) -> pl.DataFrame:
    """Lots and those of them that sold, as shares with their intervals."""
    rows = [
        (key, lots, sold / lots if lots else None, *share_interval(sold, lots)) for key, lots, sold in counts
    ]
    kinds = {name: pl.Int64, "lots": pl.Int64, **dict.fromkeys(("share", "low", "high"), pl.Float64)}
    return pl.DataFrame(rows, schema=kinds, orient="row")


def share_interval(
    hits: int, trials: int, confidence: float = CONFIDENCE
) -> tuple[float | None, float | None]:
    """Exact interval of a share (Clopper and Pearson 1934); none without trials.

    >>> low, high = share_interval(8, 10)
    >>> round(low, 4), round(high, 4)
    (0.4439, 0.9748)
    """
    if not trials:
        return None, None
    low, high = binomial_interval(hits, trials, confidence)
    return float(low), float(high)


def _against(sold: pl.DataFrame) -> pl.DataFrame:
    """Hammer price against what was expected of the lot, in the currency of the sale."""
    hammer = sold.filter(pl.col("price_basis") == "hammer", pl.col("channel") == "auction").select(
        pl.col("amount", "low_estimate", "high_estimate", "reserve").cast(pl.Float64)
    ).with_columns(mid_estimate=(pl.col("low_estimate") + pl.col("high_estimate")) / 2)  # fmt: skip
    rows = []
    for name in ("low_estimate", "mid_estimate", "high_estimate", "reserve"):
        ratio = hammer.filter(pl.col(name) > 0).select(pl.col("amount") / pl.col(name)).to_series()
        ends = (median_interval(ratio.to_numpy()) if len(ratio) else None) or (None, None)
        rows.append((name, len(ratio), ratio.median(), *ends, (ratio < 1).mean()))
    kinds = {"against": pl.String, "sales": pl.Int64}
    kinds |= dict.fromkeys(("median", "low", "high", "below"), pl.Float64)
    return pl.DataFrame(rows, schema=kinds, orient="row")
