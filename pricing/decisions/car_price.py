"""The price of one car: a distribution, from a model alone or with an inspection taken in.

A car that was inspected has an uncertain condition; its price is the mixture over the draws of its score, so
a car half seen has a wider distribution.
"""

from dataclasses import replace
from datetime import date

import numpy as np

from pricing.car import Car
from pricing.car_fields import CONDITION, NEEDED
from pricing.condition.assessment import InspectionResult
from pricing.decisions.price_by_score import GivesDistributions, PriceByScore
from pricing.errors import DecisionError
from pricing.model.distribution import PriceDistribution
from pricing.nearest import folded


def price_of(
    model: GivesDistributions, car: Car, at: date, inspection: InspectionResult | None = None
) -> PriceDistribution:
    """The price of a car at a date; with an inspection its condition is what was found."""
    frame = car.frame(at)
    if inspection is None:
        return model.distribution(frame)
    return PriceByScore.ask(model, frame).mixture(inspection.draws)


def inspected(car: Car, inspection: InspectionResult | None) -> Car:
    """The car with the condition that an inspection found.

    Raises:
        DecisionError: a condition was said as well, or the inspection is of another car.
    """
    if inspection is None:
        return car
    for name in CONDITION:
        said = getattr(car, name)
        if said is not None:
            raise DecisionError(
                f"the condition was said ({said}) and inspected ({inspection.band}): give one of the two"
            )
    for name in NEEDED:
        seen, own = inspection.inspection.car.get(name), getattr(car, name)
        if seen is not None and folded(str(seen)) != folded(str(own)):
            raise DecisionError(f"the inspection is of another car: its {name} is {seen!r}, not {own!r}")
    score = float(np.floor(10.0 * inspection.score) / 10.0)
    return replace(car, condition_band=inspection.band, condition_score=score)
