"""What the residuals of an index go together in: the cars sold, or their models."""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats, Ints

KINDS: Final = ("the cars sold", "the models")

DEPENDENT: Final = 0.05
"""Probability under which sales of a model in one period are taken to go together."""


@dataclass(frozen=True)
class Clusters:
    """Codes of the sales by car (``cars``, n) and by model (``models``, n; None where there is one model or
    none)."""

    cars: Ints
    models: Ints | None

    @classmethod
    def of(cls, sales: pl.DataFrame, item: list[str], model: list[str], order: Ints) -> Self:
        """Cars by the columns ``item`` (each sale of its own where one is null or absent), models by
        ``model``; the sales taken in ``order``."""
        known = (
            pl.lit(False) if set(item) - set(sales.columns) else pl.all_horizontal(pl.col(item).is_not_null())
        )
        names = pl.when(known).then(
            pl.struct(set(item) & set(sales.columns) or sales.columns[:1]).rank("dense")
        )
        number = sales.select(names.cast(pl.Int64).fill_null(-pl.int_range(1, pl.len() + 1))).to_series()
        cars = np.unique(number.to_numpy()[order], return_inverse=True)[1]
        if not model:
            return cls(cars, None)
        codes = sales.select(pl.struct(model).rank("dense")).to_series().to_numpy()[order]
        models = np.unique(codes, return_inverse=True)[1]
        return cls(cars, models if models.max(initial=0) > 0 else None)

    def chosen(self, residuals: Floats, period: Ints) -> tuple[Ints, str]:
        """The codes, and which they are: models where the residuals of a model's sales in one period go
        together, by the sum of the products of their pairs over its standard deviation were they independent;
        else cars."""
        if self.models is None:
            return self.cars, KINDS[0]
        cell = np.unique(self.models * (int(period.max()) + 1) + period, return_inverse=True)[1]
        squares, fourth = np.bincount(cell, residuals**2), np.bincount(cell, residuals**4)
        pairs = (np.square(np.bincount(cell, residuals)) - squares).sum()
        deviation = np.sqrt(2.0 * max(float((np.square(squares) - fourth).sum()), 0.0))
        together = pairs > float(stats.norm.isf(DEPENDENT)) * deviation
        return (self.models, KINDS[1]) if together else (self.cars, KINDS[0])
