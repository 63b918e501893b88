"""The values of a list of cars at once: ranges and standings alone, a column a fact."""

from collections.abc import Mapping
from datetime import date
from typing import Any, Final, Protocol

import polars as pl

from pricing.car import checked_cars, today
from pricing.car_names import Names
from pricing.decisions.car_price import GivesDistributions
from pricing.errors import DecisionError

STANDING_PLACES: Final = 6
"""Decimal places of a standing."""


class ListModel(GivesDistributions, Protocol):
    """What the values of a list ask of a price model."""

    @property
    def facts(self) -> Mapping[str, Any]:
        """What the fit was made from, as ``PriceModel.facts``."""


def value_list(
    names: Names,
    model: ListModel,
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
    last = date.fromisoformat(model.facts["last_date"])
    at = last if as_of is None else as_of
    if at < last:
        raise DecisionError(
            f"the price model has seen sales up to {last}, after {at}: fit one on the sales up to {at}"
        )
    named, refused = checked_cars(cars, names, today() if as_of is None else as_of, currency)
    named = named.with_columns(event_date=pl.lit(at))
    if refused.null_count() == named.height:
        return _priced(model, named, coverage).with_columns(refused)
    priceable = refused.is_null()
    places = named.select(place=pl.int_range(pl.len(), dtype=pl.Int64))
    priced = _priced(model, named.filter(priceable), coverage).with_columns(places["place"].filter(priceable))
    values = places.join(priced, on="place", how="left", maintain_order="left")
    return values.drop("place").with_columns(refused)


def _priced(model: GivesDistributions, cars: pl.DataFrame, coverage: float) -> pl.DataFrame:
    """The values of cars of which none is refused."""
    if not cars.height:
        return pl.DataFrame(schema=_VALUES)
    return (
        model.distribution(cars)
        .ranges(coverage, cars["asking"])
        .select(
            pl.col("low", "mid", "high").round(2).cast(_VALUES["low"]),
            "evidence",
            "reason",
            "remark",
            pl.col("standing").round(STANDING_PLACES),
        )
    )


_VALUES: Final = {
    "low": pl.Decimal(18, 2), "mid": pl.Decimal(18, 2), "high": pl.Decimal(18, 2), "evidence": pl.String(),
    "reason": pl.String(), "remark": pl.String(), "standing": pl.Float64(),
}  # fmt: skip
