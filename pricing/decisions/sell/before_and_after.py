"""What the same car brought before and after a change: the comparison that a word of cause needs.

Of cars sold twice, without the change and later with it, the price model says what the second sale would have
brought without it; what it brought beyond is the change's. Cars that have a paper also bring more for what
else their owners cared for, which a comparison of different cars cannot tell apart.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.decisions.price_by_score import GivesDistributions
from pricing.vocabulary import CONDITION_BANDS

FEWEST_PAIRS: Final = 8
CONFIDENCE: Final = 0.9

CHANGES: Final = ("history file", "numbers documented", "repair")
"""Changes looked for: a paper that was not there, or a better condition band."""


@dataclass(frozen=True)
class BeforeAndAfter:
    """``pairs`` of sales of the same car around a ``change``, the mean of the logarithm of what the second
    brought over what it would have brought without it (``effect``; None below two pairs), and whether its
    ``CONFIDENCE`` interval lies above nought (``supported``)."""

    change: str
    pairs: int
    effect: float | None
    supported: bool


def before_and_after(sales: pl.DataFrame, model: GivesDistributions) -> tuple[BeforeAndAfter, ...]:
    """Read each of ``CHANGES`` from a market's sales."""
    keys = ["make", "model", "chassis_number"]
    places = {band: place for place, band in enumerate(CONDITION_BANDS)}
    band = pl.col("condition_band").replace_strict(places, default=None, return_dtype=pl.Int8)
    sold = sales.filter(pl.col("outcome") == "sold", pl.col("chassis_number").is_not_null())
    twice = (
        sold.filter(pl.len().over(keys) > 1)
        .sort(*keys, "event_date", "record_id")
        .with_columns(
            papers=pl.col("history_file").fill_null(value=False),
            documented=(pl.col("matching_numbers") == "documented").fill_null(value=False),
            band=band,
        )
    )
    before = ("price", "event_date", "papers", "documented", "band", "condition_band", "condition_score")
    pairs = twice.with_columns(
        pl.col(name).shift(1).over(keys).alias(f"{name}_before")
        for name in (*before, "history_file", "matching_numbers")
    ).filter(pl.col("price_before").is_not_null())
    return (
        _read(model, "history file", pairs.filter("papers", ~pl.col("papers_before")), ("history_file",)),
        _read(
            model,
            "numbers documented",
            pairs.filter("documented", ~pl.col("documented_before")),
            ("matching_numbers",),
        ),
        _read(
            model,
            "repair",
            pairs.filter(pl.col("band") > pl.col("band_before")),
            ("condition_band", "condition_score"),
        ),
    )


def _read(
    model: GivesDistributions, change: str, pairs: pl.DataFrame, columns: tuple[str, ...]
) -> BeforeAndAfter:
    if pairs.height < 2:
        return BeforeAndAfter(change, pairs.height, None, supported=False)
    unchanged = pairs.with_columns(pl.col(f"{name}_before").alias(name) for name in columns)
    earlier = pairs.with_columns(
        pl.col("event_date_before").alias("event_date"),
        *(pl.col(f"{name}_before").alias(name) for name in columns),
    )
    moved = np.log(model.distribution(unchanged).mid / model.distribution(earlier).mid)
    price = pairs.select(pl.col("price", "price_before").cast(pl.Float64))
    logs = np.log((price["price"] / price["price_before"]).to_numpy()) - moved
    logs = logs[np.isfinite(logs)]
    if len(logs) < 2:
        return BeforeAndAfter(change, len(logs), None, supported=False)
    error = float(logs.std(ddof=1)) / np.sqrt(len(logs))
    low = float(logs.mean()) - float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, len(logs) - 1)) * error
    return BeforeAndAfter(
        change,
        len(logs),
        float(logs.mean()),
        bool(len(logs) >= FEWEST_PAIRS and low > 0.0),
    )
