"""The price of one car: a distribution, from a model alone or with an inspection taken in.

A car that was inspected has an uncertain condition; its price is the mixture over the draws of its score, so
a car half seen has a wider distribution.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np

from pricing.condition.assessment import InspectionResult
from pricing.decisions.car import frame_of
from pricing.decisions.price_by_score import GivesDistributions, PriceByScore
from pricing.errors import DecisionError
from pricing.model.distribution import PriceDistribution


def price_of(
    model: GivesDistributions, car: Mapping[str, Any], at: date, inspection: InspectionResult | None = None
) -> PriceDistribution:
    """The price of a car at a date; with an inspection its condition is what was found."""
    frame = frame_of([car], at)
    if inspection is None:
        return model.distribution(frame)
    return PriceByScore.ask(model, frame).mixture(inspection.draws)


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
