"""How good people's feel for prices was: what each source said, against the sales that came later.

A sale counts for the last statement of a source before it about such a car: of its model and state, and of
the variant, country, channel and years where the statement names them. Prices are brought to the day of the
statement by the price model's index where there is one.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
import polars as pl
from scipy.special import ndtri

from pricing.model.accuracy.scoring import LEVELS, binomial_interval, pinball
from pricing.model.statements import STATED, middles
from pricing.opinions.expert_judgement import background, calibration, information
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

FEWEST: Final = 10
"""Sales below which nothing is said of a source: with ten, the share that an 80 % span holds is known to a
quarter either way."""

_OPEN: Final = ("variant", "country", "channel")

Move = Callable[[pl.DataFrame], pl.Series]
"""The factor that brings each sale's price from ``event_date`` to ``stated_on``."""


def band_of_car() -> pl.Expr:
    """The condition band, of a car that has a score alone that in which it lies."""
    score, last = pl.col("condition_score"), len(CONDITION_BANDS) - 1
    place = pl.sum_horizontal((score >= edge).cast(pl.Int8) for edge in BAND_EDGES[1:-1]).clip(0, last)
    place = pl.when(score.is_not_null()).then(place)
    places = list(range(last + 1))
    words = place.replace_strict(places, CONDITION_BANDS, return_dtype=pl.String, default=None)
    return pl.coalesce("condition_band", words)


@dataclass(frozen=True)
class SourceScores:
    """``pairs``: one row a source and sale: the statement, the sale's ``price`` at the statement's day,
    ``inside`` its span, ``error`` (log middle less log price), ``pinball`` of the source and, of the same
    sale, ``model_pinball`` where the price model was scored on it (both of log price, times 1,000);
    ``sources``: one row a source, see :func:`score_sources`."""

    pairs: pl.DataFrame
    sources: pl.DataFrame

    def bias_by(self, part: str) -> pl.DataFrame:
        """Mean error of each source by ``condition_band`` or by ``price`` (thirds of the sales)."""
        thirds = ((pl.col("price").rank("ordinal") - 1) * 3 // pl.len()).clip(0, 2)
        words = pl.Series(["cheapest third", "middle third", "dearest third"])
        by = pl.col("condition_band") if part == "condition_band" else thirds.replace_strict(
            [0, 1, 2], words, return_dtype=pl.String
        )  # fmt: skip
        return (
            self.pairs.with_columns(part=by)
            .group_by("source", "part", maintain_order=True)
            .agg(sales=pl.len(), bias=pl.col("error").mean().exp() - 1.0, held=pl.col("inside").mean())
            .sort("source", "part")
        )


def score_sources(
    opinions: pl.DataFrame, sales: pl.DataFrame, move: Move | None = None, scored: pl.DataFrame | None = None
) -> SourceScores:
    """Score every source of ``opinions`` (``Market.opinions``) on ``sales`` (``Market.sales``).

    Args:
        move: brings prices to the day of a statement; without it they are taken as they were.
        scored: the rows of a backtest of the price model, for its own loss on the same sales.

    The table of ``sources`` has, for each: ``standing``, ``statements``, ``sales`` held against; ``held``,
    the share inside the spans, with its exact 95 % interval ``held_low`` and ``held_high``; ``meant``, the
    share that was meant to be; ``width`` (median of high over low); ``bias`` (mean of middle over price,
    less one); ``calibration`` and ``information`` (Cooke 1991); ``pinball`` and ``model_pinball`` of the
    sales that both were scored on (``both``); and ``tells``: whether there are ``FEWEST`` sales, without
    which the rest says nothing.
    """
    spans = _spans(opinions)
    pairs = _pairs(spans, sales)
    if move is not None and pairs.height:
        pairs = pairs.with_columns(price=pl.col("price") * move(pairs))
    log = pairs["price"].log().to_numpy()
    middle, spread = pairs["log_middle"].to_numpy(), pairs["spread"].to_numpy()
    quantiles = middle[:, None] + spread[:, None] * ndtri(np.array(LEVELS))
    loss = 1000.0 * pinball(log[:, None], quantiles, np.array(LEVELS)).mean(axis=1)
    pairs = pairs.with_columns(
        inside=pl.col("price").is_between(
            pl.col("low_price").fill_null(0.0), pl.col("high_price").fill_null(float("inf"))
        ),
        error=pl.Series(middle - log, dtype=pl.Float64),
        pinball=pl.Series(loss, dtype=pl.Float64),
    )
    theirs = pl.DataFrame(schema={"record_id": pl.String, "model_pinball": pl.Float64})
    if scored is not None:
        theirs = scored.select("record_id", model_pinball="pinball").unique("record_id")
    pairs = pairs.join(theirs, on="record_id", how="left", maintain_order="left")
    return SourceScores(pairs, _by_source(spans, pairs))


def _spans(opinions: pl.DataFrame) -> pl.DataFrame:
    """Statements with their band, ends as numbers, share, middle and spread in logs."""
    spans = opinions.with_columns(
        pl.col("low_price", "middle_price", "high_price").cast(pl.Float64),
        share=STATED["share"],
        condition_band=band_of_car(),
    ).filter(pl.any_horizontal(pl.col("low_price", "high_price").is_not_null()))
    middle, spread = middles(spans.select("source", **STATED))
    return spans.with_columns(log_middle=pl.Series(middle), spread=pl.Series(spread))


def _pairs(statements: pl.DataFrame, sales: pl.DataFrame) -> pl.DataFrame:
    """Every later sale with the last statement of each source before it about such a car."""
    sold = sales.filter(pl.col("outcome") == "sold").select(
        "record_id", "make", "model", *_OPEN, "year", "event_date", pl.col("price").cast(pl.Float64),
        band_of_car(), "condition_score", "options", "odometer_km", "body_style", "drive_side",
        "matching_numbers", "history_file",
    )  # fmt: skip
    both = sold.join(statements, on=["make", "model", "condition_band"], suffix="_said").filter(
        pl.col("event_date") > pl.col("stated_on"),
        *(
            pl.col(f"{name}_said").is_null() | (pl.col(name) == pl.col(f"{name}_said")).fill_null(False)
            for name in _OPEN
        ),
        (pl.col("year") >= pl.col("year_from")).fill_null(True),
        (pl.col("year") <= pl.col("year_to")).fill_null(True),
    )
    return both.sort("stated_on", maintain_order=True).unique(
        ["source", "record_id"], keep="last", maintain_order=True
    )


def _by_source(statements: pl.DataFrame, pairs: pl.DataFrame) -> pl.DataFrame:
    counted = statements.group_by("source").agg(
        standing=pl.col("standing").drop_nulls().last(),
        statements=pl.len(),
        width=(pl.col("high_price") / pl.col("low_price")).median(),
    )
    both = pl.col("model_pinball").is_not_null()
    seen = pairs.group_by("source").agg(
        sales=pl.len(),
        inside=pl.col("inside").sum(),
        held=pl.col("inside").mean(),
        meant=pl.col("share").mean(),
        bias=pl.col("error").mean().exp() - 1.0,
        both=both.sum(),
        pinball=pl.coalesce(pl.col("pinball").filter(both).mean(), pl.col("pinball").mean()),
        model_pinball=pl.col("model_pinball").mean(),
    )
    table = counted.join(seen, on="source", how="left").with_columns(
        pl.col("sales", "inside", "both").fill_null(0)
    )
    low, high = binomial_interval(table["inside"].to_numpy(), table["sales"].to_numpy())
    by_source = pairs.partition_by("source", as_dict=True).items()
    judged = pl.DataFrame(
        [_judged(own) | {"source": name} for (name,), own in by_source],
        schema={"source": pl.String, "calibration": pl.Float64, "information": pl.Float64},
    )
    return (
        table.with_columns(
            held_low=pl.Series(low), held_high=pl.Series(high), tells=pl.col("sales") >= FEWEST
        )
        .join(judged, on="source", how="left")
        .drop("inside")
        .sort("source")
    )


def _judged(own: pl.DataFrame) -> dict[str, float]:
    """Calibration and information of one source, in logs; every later sale is a question."""
    price, share = own["price"].log().to_numpy(), own["share"].to_numpy()
    low, middle, high = (
        own[f"{name}_price"].log().to_numpy().astype(np.float64) for name in ("low", "middle", "high")
    )
    whole, named = np.isfinite(low) & np.isfinite(high), np.isfinite(middle)
    bins, informations = [], []
    for part, with_middle in product(np.unique(share), (False, True)):
        rows = np.flatnonzero(whole & (share == part) & (named == with_middle))
        if not len(rows):
            continue
        levels = np.array([(1 - part) / 2, *([0.5] if with_middle else []), (1 + part) / 2])
        ends = np.column_stack([low[rows], *([middle[rows]] if with_middle else []), high[rows]])
        place = (price[rows, None] > ends).sum(axis=1)
        expected = np.diff(np.concatenate([[0.0], levels, [1.0]]))
        bins.append((np.bincount(place, minlength=len(expected)).astype(np.float64), expected))
        informations += [
            information(end, levels, *background(np.append(end, at)))
            for end, at in zip(ends, price[rows], strict=True)
        ]
    if not bins:
        return {"calibration": float("nan"), "information": float("nan")}
    return {"calibration": calibration(bins), "information": float(np.mean(informations))}
