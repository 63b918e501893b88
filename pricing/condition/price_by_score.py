"""The price of one car at every condition score: how an uncertain condition becomes an uncertain price.

A price model gives the quantiles of a car whose condition is known. Here it is asked once, for the car at
every whole point of score, and the answers are mixed over the draws of an inspection: a car half seen gets a
wider range.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.condition.score import Floats, band_of
from pricing.errors import ModelError
from pricing.vocabulary import CONDITION_BANDS

Quantiles = Callable[[pl.DataFrame, Sequence[float], date | None], pl.DataFrame]
"""What a price model answers: cars, levels and an effective date in; a frame with one column a level out."""

LEVELS: Final = (np.arange(99) + 0.5) / 99
"""Levels asked of the model: the middles of 99 equal parts."""

_POINTS: Final = np.arange(100) + 0.5


@dataclass(frozen=True, eq=False)
class PriceByScore:
    """Log prices of one car: ``at_score`` by whole point of score, shape (100, 99), and ``in_band`` of a car
    of which only the condition band is known, shape (bands, 99); columns are ``LEVELS``."""

    at_score: Floats
    in_band: Floats

    @classmethod
    def ask(cls, quantiles: Quantiles, car: pl.DataFrame, as_of: date | None = None) -> "PriceByScore":
        """Ask a model, such as ``model.quantiles`` of ``PriceModel``, for one car (a frame of one row, its
        condition left out). Raises ``ModelError`` when the model gives no price for it."""
        if len(car) != 1:
            raise ModelError(f"one car is priced by its score at a time, got {len(car)} rows")
        bands = [*(CONDITION_BANDS[band] for band in band_of(_POINTS)), *CONDITION_BANDS]
        scores = pl.Series(
            "condition_score", [*_POINTS.tolist(), *[None] * len(CONDITION_BANDS)], dtype=pl.Float64
        )
        states = pl.DataFrame([pl.Series("condition_band", bands), scores])
        cars = car.drop("condition_band", "condition_score", strict=False).join(states, how="cross")
        prices = quantiles(cars, LEVELS.tolist(), as_of).to_numpy().astype(np.float64)
        if prices.shape != (len(bands), len(LEVELS)) or not (np.isfinite(prices) & (prices > 0)).all():
            raise ModelError("the price model gives no price for this car at every condition")
        logs = np.log(prices)
        return cls(at_score=logs[: len(_POINTS)], in_band=logs[len(_POINTS) :])

    def quantiles(self, scores: Floats, levels: Sequence[float]) -> Floats:
        """Quantiles of the price at ``levels`` when the score is one of ``scores``, all equally likely.

        With one score these are the model's own quantiles, linear in log price between ``LEVELS`` and cut at
        the outermost of them.
        """
        place, count = np.unique(_place(scores), return_counts=True)
        atoms = self.at_score[place].ravel()
        weights = np.repeat(count.astype(np.float64), len(LEVELS))
        order = np.argsort(atoms, kind="stable")
        below = np.cumsum(weights[order])
        middle = (below - 0.5 * weights[order]) / below[-1]
        return np.exp(np.interp(levels, middle, atoms[order]))

    def draw(self, scores: Floats, level: Floats) -> Floats:
        """Price of each draw: at its score and at its level of the model's distribution, both of shape
        (draws,)."""
        return np.exp(_between(self.at_score, _place(scores), level))

    def draw_in_band(self, band: int, level: Floats) -> Floats:
        """Price of each draw of a car known to be in a condition band, at its level."""
        return np.exp(_between(self.in_band, np.full(len(level), band), level))


def _place(scores: Floats) -> NDArray[np.intp]:
    return np.clip(scores, 0.0, 99.5).astype(np.intp)


def _between(table: Floats, rows: NDArray[np.intp], level: Floats) -> Floats:
    """The table at a row and a level of each draw, linear between ``LEVELS``."""
    place = np.clip(level * len(LEVELS) - 0.5, 0.0, len(LEVELS) - 1.0)
    below = np.minimum(place.astype(np.intp), len(LEVELS) - 2)
    part = place - below
    return np.asarray((1.0 - part) * table[rows, below] + part * table[rows, below + 1])
