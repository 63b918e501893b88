"""A kept car today: its range, where the price asked stands, and what changed since somebody last looked,
part by part."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.car import Car
from pricing.decisions.typed_amounts import Typed
from pricing.decisions.valuation import Valuation, value_car
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import KeptCar

PARTS: Final = ("market", "condition", "car", "records")
"""What moves a middle price between two looks: the level of the market, the condition that is said or was
found, what else is said of the car, and all else, which is what new sales taught the model."""


@dataclass(frozen=True)
class PriceChange:
    """What changed of a kept car's middle price: ``factor`` in all, and of each of ``PARTS``, which
    multiply to it; ``new_sales`` of its model; ``before``: the middle price at the last look, on the day
    ``looked``."""

    looked: date
    before: Decimal
    factor: float
    parts: Mapping[str, float]
    new_sales: int


@dataclass(frozen=True)
class KeptCarToday:
    """A kept car with its valuation, or the reason why there is none; the price asked last (in the market's
    base currency) and when it was noted; and what changed, where somebody has looked before."""

    kept: KeptCar
    valuation: Valuation | None
    refused: str | None
    asked: Decimal | None
    asked_on: date | None
    change: PriceChange | None


def asked_last(snapshot: Snapshot, prices: pl.DataFrame) -> tuple[Decimal | None, date | None]:
    """What was asked last for a kept car, in the market's base currency, and when it was noted; Nones where
    nothing was. ``prices``: what was asked over time, as ``Market.kept_cars.prices`` gives it.

    Raises:
        MoneyError: there is no rate for its currency.
    """
    if prices.is_empty():
        return None, None
    last = prices.row(-1, named=True)
    asked = Typed(Decimal(last["amount"]), last["currency"])
    return asked.in_base(snapshot, last["noted_on"]), last["noted_on"]


def kept_car_today(snapshot: Snapshot, kept_car: KeptCar, prices: pl.DataFrame) -> KeptCarToday:
    """Value a kept car as any car is valued; ``prices`` were asked for it over time (see ``asked_last``).

    Raises:
        CarError: the market does not know the car any more.
        MoneyError: there is no rate for the currency of what was asked.
    """
    asked, asked_on = asked_last(snapshot, prices)
    car = Car.checked(dict(kept_car.car), known=snapshot.names())
    valuation = value_car(snapshot.of_model(car.make, car.model), snapshot.model, car, asking=asked)
    change = None if kept_car.seen is None else _change(kept_car.seen, facts_seen(valuation))
    return KeptCarToday(kept_car, valuation, valuation.reason, asked, asked_on, change)


def facts_seen(valuation: Valuation) -> dict[str, Any] | None:
    """What is remembered of a look; None where there is no range."""
    if valuation.mid is None:
        return None
    factors = {str(row["term"]): float(row["factor"]) for row in valuation.terms.iter_rows(named=True)}
    return {
        "looked": str(date.today()),
        "as_of": str(valuation.as_of),
        "mid": str(valuation.mid),
        "sales": valuation.sales.height,
        "condition": [valuation.car["condition_band"], valuation.car["condition_score"]],
        "said": {name: value for name, value in valuation.car.items() if not name.startswith("condition")},
        "factors": factors,
    }


def _change(before: Mapping[str, Any], after: Mapping[str, Any] | None) -> PriceChange | None:
    """The change between two looks; None where either had no range."""
    if after is None:
        return None
    whole = float(after["mid"]) / float(before["mid"])

    def moved(term: str) -> float:
        return float(after["factors"].get(term, 1.0)) / float(before["factors"].get(term, 1.0))

    parts = {"market": moved("date")}
    parts["condition"] = moved("condition") if before["condition"] != after["condition"] else 1.0
    others = sorted({*before["factors"], *after["factors"]} - {"date", "condition"})
    parts["car"] = math.prod(map(moved, others)) if before["said"] != after["said"] else 1.0
    parts["records"] = whole / (parts["market"] * parts["condition"] * parts["car"])
    looked = date.fromisoformat(before["looked"])
    return PriceChange(looked, Decimal(before["mid"]), whole, parts, after["sales"] - before["sales"])
