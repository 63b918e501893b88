"""The price of one car: a distribution, from a model alone or with an inspection taken in.

A price model gives the price of a car whose condition is known. A car that was inspected has an uncertain
one: the model is asked once, for the car at every whole point of score, and the answers are mixed over the
draws of its inspection, so that a car half seen has a wider distribution.
"""

from dataclasses import dataclass, replace
from datetime import date
from typing import Final, Protocol

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.car import Car
from pricing.car_fields import CONDITION, NEEDED
from pricing.condition.assessment import InspectionResult
from pricing.condition.score import band_of
from pricing.errors import DecisionError, ModelError
from pricing.model.distribution import PriceDistribution
from pricing.nearest import folded
from pricing.vocabulary import CONDITION_BANDS

_POINTS: Final = np.arange(100) + 0.5


class GivesDistributions(Protocol):
    """Whatever gives price distributions for cars, such as a fitted ``PriceModel``."""

    def distribution(self, cars: pl.DataFrame, as_of: date | None = None) -> PriceDistribution:
        """The prices of cars, as ``PriceModel.distribution`` gives them."""


@dataclass(frozen=True, eq=False)
class PriceByScore:
    """Prices of one car in many ``states``: a row for every whole point of score, then one for each condition
    band of which only the band is known."""

    states: PriceDistribution

    @classmethod
    def ask(cls, model: GivesDistributions, car: pl.DataFrame, as_of: date | None = None) -> "PriceByScore":
        """Ask a model for one car (a frame of one row, its condition left out).

        Raises:
            ModelError: it is not one car, or the model gives no price for it.
        """
        if len(car) != 1:
            raise ModelError(f"one car is priced by its score at a time, got {len(car)} rows")
        bands = [*(CONDITION_BANDS[band] for band in band_of(_POINTS)), *CONDITION_BANDS]
        scores = pl.Series(
            "condition_score", [*_POINTS.tolist(), *[None] * len(CONDITION_BANDS)], dtype=pl.Float64
        )
        known = pl.DataFrame([pl.Series("condition_band", bands), scores])
        cars = car.drop("condition_band", "condition_score", strict=False).join(known, how="cross")
        states = model.distribution(cars, as_of)
        if not (np.isfinite(states.mid) & (states.mid > 0)).all():
            raise ModelError("the price model gives no price for this car at every condition")
        return cls(states)

    def mixture(self, scores: Floats) -> PriceDistribution:
        """The price when the score is one of ``scores``, all equally likely; with what the model says of the
        car at the score in the middle."""
        place, count = np.unique(_place(scores), return_counts=True)
        middle = self.states[[int(_place(np.array([np.median(scores)]))[0])]]
        mixed = self.states[place].mixed(count)
        return PriceDistribution(
            mixed.law, mixed.centre, mixed.spread, middle.evidence, middle.reason, middle.remark
        )

    def draw(self, scores: Floats, level: Floats) -> Floats:
        """Price of each draw: at its score and at its level of the model's distribution, both of shape
        (draws,)."""
        return self.states[_place(scores)].each_at(level)

    def draw_in_band(self, band: int, level: Floats) -> Floats:
        """Price of each draw of a car known to be in a condition band, at its level."""
        return self.states[[len(_POINTS) + band]].ppf(level)[0]


def _place(scores: Floats) -> Ints:
    return np.clip(scores, 0.0, 99.5).astype(np.int64)


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
        stated = getattr(car, name)
        if stated is not None:
            raise DecisionError(
                f"the condition was said ({stated}) and inspected ({inspection.band}): give one of the two"
            )
    for name in NEEDED:
        seen, own = inspection.inspection.car.get(name), getattr(car, name)
        if seen is not None and folded(str(seen)) != folded(str(own)):
            raise DecisionError(f"the inspection is of another car: its {name} is {seen!r}, not {own!r}")
    score = float(np.floor(10.0 * inspection.score) / 10.0)
    return replace(car, condition_band=inspection.band, condition_score=score)
