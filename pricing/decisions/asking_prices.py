"""An asking price for a private or dealer sale: chances against the price, and a ladder of reductions."""

from typing import Final

import numpy as np
import polars as pl

from pricing.decisions.time_to_sale import TimeToSale

WEEKS: Final = (4, 8, 12)
STEPS: Final = (0.85, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.3)
"""Asking prices looked at, against the mid price."""

LADDER_WEEKS: Final = 4
"""Weeks between reductions: a listing is read in its first weeks (common practice, no source)."""


def chances(times: TimeToSale | None, channel: str, mid: float, asked: list[float]) -> pl.DataFrame:
    """For each asking price: ``asking``, ``within_4``, ``within_8``, ``within_12`` (chance of a sale within
    so many weeks) and ``weeks`` (by which half sell); null where the records do not say."""
    asking = np.asarray(asked, dtype=np.float64)
    frame = pl.DataFrame({"asking": asking})
    if times is None:
        return frame.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in _NAMES)
    ratio = np.log(asking / mid)
    columns = {f"within_{weeks}": times.chance(channel, ratio, 7.0 * weeks) for weeks in WEEKS}
    return frame.with_columns(
        **{name: pl.Series(values) for name, values in columns.items()},
        weeks=pl.Series([times.days(channel, float(part)) / 7.0 for part in ratio]),
    )


def ladder(times: TimeToSale | None, channel: str, mid: float, start: float, floor: float) -> pl.DataFrame:
    """Reductions from ``start`` to ``floor`` in three equal ratios, four weeks each: ``week`` (from which
    on), ``asking`` and ``sold_by_then`` (chance of a sale before the next step; null where not known).

    >>> ladder(None, "private", 9000.0, 10000.0, 8100.0)["week"].to_list()
    [0, 4, 8]
    """
    asking = np.geomspace(start, min(floor, start), len(WEEKS))
    frame = pl.DataFrame({"week": [LADDER_WEEKS * step for step in range(len(WEEKS))], "asking": asking})
    if times is None:
        return frame.with_columns(sold_by_then=pl.lit(None, dtype=pl.Float64))
    days = np.full(len(WEEKS), 7.0 * LADDER_WEEKS)
    return frame.with_columns(
        sold_by_then=pl.Series(times.chance_by_steps(channel, np.log(asking / mid), days))
    )


_NAMES: Final = (*(f"within_{weeks}" for weeks in WEEKS), "weeks")
