"""From asking to sold: what cars that were advertised and then sold fetched, against what was asked."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

MOST_DAYS: Final = 365
"""An asking price says nothing about a sale more than this many days later."""

FEWEST: Final = 2
CONFIDENCE: Final = 0.95


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
