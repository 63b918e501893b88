"""Low, mid and high of draws: what one time in ten stays below, half, and nine times in ten."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np

from pricing.arrays import Floats
from pricing.decisions.amounts import whole_units

ENDS: Final = (0.1, 0.5, 0.9)


def quantiles(draws: Floats, levels: float | tuple[float, ...] = ENDS) -> Floats:
    """Quantiles of draws, each draw in the middle of its share (Hazen 1914): those of a distribution's own
    levels give its quantiles back.

    >>> float(quantiles(np.arange(4.0), 0.5))
    1.5
    """
    return np.asarray(np.quantile(draws, levels, method="hazen"))


@dataclass(frozen=True)
class Range:
    """An uncertain amount: ``low`` <= ``mid`` <= ``high``, to the smallest unit of its currency."""

    low: Decimal
    mid: Decimal
    high: Decimal

    @classmethod
    def of(cls, draws: Floats, currency: str) -> "Range":
        """P10, P50 and P90 of draws.

        >>> Range.of(np.arange(100.0), "EUR")
        Range(low=Decimal('9.50'), mid=Decimal('49.50'), high=Decimal('89.50'))
        """
        ends = quantiles(draws)
        return cls(*(whole_units(Decimal(repr(float(end))), currency) + 0 for end in ends))
