"""The law of one car's price: quantiles on a grid, from a model alone or with an inspection taken in.

A car that was inspected has an uncertain condition; its price is the mixture over the draws of its score, so
a car half seen has a wider law.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, Protocol

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.condition.assessment import InspectionResult
from pricing.condition.price_by_score import PriceByScore
from pricing.decisions.car import frame_of
from pricing.errors import DecisionError

Floats = NDArray[np.float64]

LEVELS: Final = (0.005, 0.01, *(round(0.025 * step, 3) for step in range(1, 40)), 0.99, 0.995)
"""Levels at which the law is read from the model; in between, log price is linear."""


class GivesQuantiles(Protocol):
    """Whatever gives price quantiles for cars, such as a fitted ``PriceModel``."""

    def quantiles(self, cars: pl.DataFrame, levels: list[float]) -> pl.DataFrame: ...


class GivesRanges(Protocol):
    """Whatever gives price ranges for cars, and where a price asked for each stands."""

    def price_range(
        self, cars: pl.DataFrame, coverage: float = 0.8, *, asking: pl.Series
    ) -> pl.DataFrame: ...


@dataclass(frozen=True, eq=False)
class PriceLaw:
    """Log prices at ``LEVELS``, shape (levels,)."""

    logs: Floats

    @classmethod
    def of(
        cls,
        model: GivesQuantiles,
        car: Mapping[str, Any],
        at: date,
        inspection: InspectionResult | None = None,
    ) -> "PriceLaw":
        """The law of a car's price at a date; with an inspection its condition is what was found."""
        frame = frame_of([car], at)
        if inspection is None:
            return cls(np.log(np.asarray(model.quantiles(frame, list(LEVELS)).row(0), dtype=np.float64)))
        prices = PriceByScore.ask(lambda cars, levels, _: model.quantiles(cars, list(levels)), frame)
        return cls(np.log(prices.quantiles(inspection.draws, LEVELS)))

    def quantile(self, level: float) -> float:
        """The price that a share ``level`` of like cars do not exceed; the outermost level at either end.

        Raises:
            DecisionError: the level is not strictly between 0 and 1.
        """
        if not 0.0 < level < 1.0:
            raise DecisionError(f"a chance lies strictly between 0 and 1; got {level}")
        return float(np.exp(np.interp(level, LEVELS, self.logs)))

    def share_below(self, price: float | Decimal) -> float:
        """Share of like cars that would sell for less, 0 to 1; flat beyond the outermost levels."""
        return float(np.interp(np.log(max(float(price), 1e-9)), self.logs, LEVELS, left=0.0, right=1.0))

    def atoms(self, count: int = 199) -> Floats:
        """Prices at the middles of so many equal parts of the law."""
        return np.exp(np.interp((np.arange(count) + 0.5) / count, LEVELS, self.logs))


def inspected(car: Mapping[str, Any], inspection: InspectionResult | None) -> dict[str, Any]:
    """The car with the condition that an inspection found.

    Raises:
        DecisionError: a condition was said as well, or the inspection is of another car.
    """
    if inspection is None:
        return dict(car)
    for name in ("condition_band", "condition_score"):
        if car.get(name) is not None:
            raise DecisionError(
                f"the condition was said ({car[name]}) and inspected ({inspection.band}): give one of the two"
            )
    for name in ("make", "model", "year"):
        seen = inspection.inspection.car.get(name)
        if seen is not None and str(seen).strip().casefold() != str(car.get(name)).strip().casefold():
            raise DecisionError(
                f"the inspection is of another car: its {name} is {seen!r}, not {car.get(name)!r}"
            )
    score = float(np.floor(10.0 * inspection.score) / 10.0)
    return dict(car) | {"condition_band": inspection.band, "condition_score": score}
