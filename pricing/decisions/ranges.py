"""Low, mid and high of draws: what one time in ten stays below, half, and nine times in ten."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np

from pricing.condition.score import Floats
from pricing.decisions.amounts import whole_units

ENDS: Final = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Range:
    """An uncertain amount: ``low`` <= ``mid`` <= ``high``, to the smallest unit of its currency."""

    low: Decimal
    mid: Decimal
    high: Decimal

    @classmethod
    def of(cls, draws: Floats, currency: str) -> "Range":
        """P10, P50 and P90 of draws.

        >>> Range.of(np.arange(101.0), "EUR")
        Range(low=Decimal('10.00'), mid=Decimal('50.00'), high=Decimal('90.00'))
        """
        ends = np.quantile(draws, ENDS)
        return cls(*(whole_units(Decimal(repr(float(end))), currency) + 0 for end in ends))
