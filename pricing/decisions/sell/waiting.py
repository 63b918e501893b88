"""A private or dealer sale, draw by draw: what is asked week by week, when a buyer comes, and what is paid.

The best buyer pays ``V``, the price model's draw on that channel, and never more than is asked. A buyer comes
at a time drawn from the law of the records (``time_to_sale``), and not before what is asked has come within
bargaining of ``V``: nine sales in ten were made within ``bargained`` of what was asked. A lowest price is
kept to like a reserve. So in no draw does a dearer price sell sooner, or a lower price leave more unsold.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pricing.arrays import Floats
from pricing.decisions.sell.time_to_sale import TimeToSale

HORIZON: Final = 12
"""Weeks within which a chance of a sale is given."""

WEEKS: Final = (4, 8, 12)

LADDER_WEEKS: Final = 4
"""Weeks between reductions: a listing is read in its first weeks (common practice, no source)."""

STEPS: Final = (0.85, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.3)
"""Asking prices looked at, against the mid price."""

BARGAINED: Final = 1.25
"""What is asked over what is paid at most, where the records have too few pairs: an assumption."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class PrivateSale:
    """``paid`` and the ``weeks`` until then, each of shape (draws,); ``weeks`` is infinite where no buyer
    ever pays enough, and counts from the first step where the records do not tell the wait."""

    paid: Floats
    weeks: Floats

    @property
    def sold(self) -> Bools:
        """Whether the car sells at all."""
        return np.isfinite(self.weeks)


def ladder(start: float, floor: float) -> Floats:
    """What is asked in each of three steps of ``LADDER_WEEKS`` weeks, in equal ratios; the last one stands.

    >>> ladder(10000.0, 8100.0).round().tolist()
    [10000.0, 9000.0, 8100.0]
    """
    return np.geomspace(start, min(floor, start), len(WEEKS))


def private_sale(
    value: Floats,
    wait: Floats,
    asks: Floats,
    mid: float,
    times: TimeToSale | None,
    channel: str,
    *,
    bargained: float = BARGAINED,
    lowest: float = 0.0,
) -> PrivateSale:
    """The sale of a car that the best buyer pays ``value`` for, all-in, in each draw.

    Args:
        wait: levels of the time until a buyer comes.
        asks: what is asked in each step, falling.
        mid: what such cars sell for in the middle, which the law of waiting is held against.
        lowest: the least that is taken.
    """
    steps = len(asks)
    days = 7.0 * LADDER_WEEKS
    if times is None:
        came = np.zeros(len(value))
    else:
        with np.errstate(divide="ignore"):
            pace = np.exp(-times.elasticity * np.log(asks / mid))
        clock = times.days(channel, 0.0, wait)
        ends = np.cumsum(pace[:-1] * days)
        step = np.searchsorted(ends, clock)
        begun = np.concatenate([[0.0], ends])[step]
        came = days * step + (clock - begun) / pace[step]
    within = np.maximum(asks / bargained, lowest)
    first = np.searchsorted(-within, -value)  # the first step within bargaining of the value
    weeks = np.maximum(came, days * first) / 7.0
    last = np.minimum(weeks / LADDER_WEEKS, steps - 1).astype(np.intp)
    return PrivateSale(np.minimum(value, asks[last]), np.where(first == steps, np.inf, weeks))
