"""The values of a list of cars at once: ranges and standings alone, a column a fact."""

from datetime import date
from typing import Final

import polars as pl

from pricing.car import checked_cars, today
from pricing.car_names import Names
from pricing.decisions.valuation import FittedModel, day_of

STANDING_PLACES: Final = 6
"""Decimal places of a standing."""


def value_list(
    names: Names,
    model: FittedModel,
    cars: pl.DataFrame,
    *,
    currency: str,
    as_of: date | None = None,
    coverage: float = 0.8,
) -> pl.DataFrame:
    """Value a list of cars, each as ``value_car`` would.

    Args:
        names: those of the market that the model was fitted on.
        model: a price model.
        cars: a row a car, of columns of ``car_fields.FIELDS`` as in the record contract, and ``asking``, a
            price asked for it or null.
        currency: the market's base currency, in which prices are asked.
        as_of: the date the prices hold at; the last sale the model has seen when not given.
        coverage: share of like cars that each range is to hold.

    Returns:
        A row a car: ``low``, ``mid``, ``high`` (null without a range), ``evidence``, ``reason`` (why there is
        no range), ``standing`` (share of like cars that would sell for less than ``asking``; null without)
        and ``refused``: null, or why this car cannot be valued at all.

    Raises:
        DecisionError: the model has seen sales after ``as_of``.
    """
    at = day_of(model, as_of)
    named, refused = checked_cars(cars, names, today() if as_of is None else as_of, currency)
    named = named.with_columns(event_date=pl.lit(at))
    if refused.null_count() == named.height:
        return _priced(model, named, coverage).with_columns(refused)
    priceable = refused.is_null()
    places = named.select(place=pl.int_range(pl.len(), dtype=pl.Int64))
    priced = _priced(model, named.filter(priceable), coverage).with_columns(places["place"].filter(priceable))
    values = places.join(priced, on="place", how="left", maintain_order="left")
    return values.drop("place").with_columns(refused)


def _priced(model: FittedModel, cars: pl.DataFrame, coverage: float) -> pl.DataFrame:
    """The values of cars of which none is refused."""
    if not cars.height:
        return pl.DataFrame(schema=_VALUES)
    return (
        model.distribution(cars)
        .ranges(coverage, cars["asking"])
        .with_columns(pl.col("low", "mid", "high").round(2), pl.col("standing").round(STANDING_PLACES))
        .select(pl.col(name).cast(kind) for name, kind in _VALUES.items())
    )


_VALUES: Final = {
    "low": pl.Decimal(18, 2), "mid": pl.Decimal(18, 2), "high": pl.Decimal(18, 2), "evidence": pl.String(),
    "reason": pl.String(), "remark": pl.String(), "standing": pl.Float64(),
}  # fmt: skip
