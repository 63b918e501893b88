"""From asking to sold for one car: the gap that the price model learnt on the car's channel and tier."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import polars as pl

from pricing.car import Car
from pricing.decisions.valuation import FittedModel


class Pricing(FittedModel, Protocol):
    """What buying and selling ask of a price model: ``pricing.PriceModel``, fitted, is one."""

    def asking_gaps(self) -> pl.DataFrame:
        """How far sales end below asking prices, as ``PriceModel.asking_gaps`` gives it."""


@dataclass(frozen=True)
class Gap:
    """Asking over sold as a ``factor`` with its 80 % interval, on a ``channel`` and in a ``tier`` of
    price."""

    factor: float
    low: float
    high: float
    channel: str
    tier: str | None


def asking_gap_of(gaps: pl.DataFrame, sales: pl.DataFrame, car: Car) -> Gap | None:
    """The gap for a car, or None where the records tell of none on its channel.

    ``gaps`` is what ``PriceModel.asking_gaps`` gives. The tier is the third of the market that the median
    price of the car's model falls in.
    """
    of_channel = gaps.filter(pl.col("asking_by") == pl.lit(car.channel, dtype=pl.String))
    if of_channel.is_empty():
        return None
    medians = (
        sales.filter(pl.col("outcome") == "sold")
        .group_by("make", "model")
        .agg(pl.col("price").cast(pl.Float64).median())
        .sort("price")
    )
    own = medians.filter(pl.col("make") == car.make, pl.col("model") == car.model)["price"]
    prices = medians["price"].to_numpy()
    place = len(of_channel) // 2
    if len(own) and len(of_channel) > 1:
        edges = np.quantile(prices, np.arange(1, len(of_channel)) / len(of_channel))
        place = int(np.searchsorted(edges, own[0]))
    row = of_channel.row(place, named=True)
    return Gap(row["factor"], row["low"], row["high"], row["asking_by"], row["tier"])
