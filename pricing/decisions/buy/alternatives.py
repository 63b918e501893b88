"""Other cars for the money: models and variants that a budget buys, within what the person wants, nearest in
use first."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import polars as pl

from pricing.car import Car, typed_frame
from pricing.decisions.car_price import GivesDistributions
from pricing.errors import DecisionError
from pricing.vocabulary import CONDITION_BANDS

FEWEST: Final = 5
"""Recorded sales that a model or variant needs to be named."""

LEAST_USED: Final = 0.6
"""A car whose mid price is less than this share of the budget is not the same money."""

MOST: Final = 12
"""Cars named for a budget."""

YEARS_ALIKE: Final = 5
"""Model years within which two cars are as old as each other."""


@dataclass(frozen=True)
class Wanted:
    """What another car must be; None: anything. Years are model years, both ends in."""

    body_style: str | None = None
    drive_side: str | None = None
    first_year: int | None = None
    last_year: int | None = None
    country: str | None = None

    def __post_init__(self) -> None:
        """Refuse years that end before they begin."""
        first, last = self.first_year, self.last_year
        if first is not None and last is not None and first > last:
            raise DecisionError(f"other cars from {first} to {last}: the first year is after the last")

    def filters(self) -> list[pl.Expr]:
        """Sales of such cars."""
        conditions = [
            pl.col(name) == value
            for name in ("body_style", "drive_side", "country")
            if (value := getattr(self, name)) is not None
        ]
        if self.first_year is not None:
            conditions.append(pl.col("year") >= self.first_year)
        if self.last_year is not None:
            conditions.append(pl.col("year") <= self.last_year)
        return conditions


SCHEMA: Final = {
    "at": pl.String, "budget": pl.Float64, "make": pl.String, "model": pl.String, "variant": pl.String,
    "year": pl.Int16, "body_style": pl.String, "condition_band": pl.String, "sales": pl.UInt32,
    "low": pl.Float64, "mid": pl.Float64, "high": pl.Float64, "within": pl.Float64, "evidence": pl.String,
}  # fmt: skip


def alternatives(
    model: GivesDistributions,
    sales: pl.DataFrame,
    car: Car,
    at: date,
    budgets: Mapping[str, Decimal],
    wanted: Wanted,
    *,
    coverage: float = 0.8,
) -> pl.DataFrame:
    """Cars that each budget (by name, all-in, in the model's currency) buys as likely as not.

    Every make, model and variant with ``FEWEST`` wanted sales or more, in the best condition band that fits,
    as a typical one (its median year, no options said) on the car's own channel and in its country. Columns:
    ``SCHEMA``; ``within`` is the share of such cars that sell for the budget or less, ``sales`` and
    ``evidence`` how much is on record. Nearest in use first: of the same body style, then by how far apart
    the model years are, then the better band, for it has the least to mend, then the dearer.
    """
    sold = sales.filter(pl.col("outcome") == "sold")
    groups = (
        sold.filter(pl.lit(value=True), *wanted.filters())
        .group_by("make", "model", "variant")
        .agg(
            pl.col("year").median().round().cast(pl.Int16),
            pl.col("body_style").drop_nulls().mode().sort().first(),
            sales=pl.len(),
        )
        .filter(pl.col("sales") >= FEWEST)
        .sort("make", "model", "variant", nulls_last=True)
    )
    if groups.is_empty() or not budgets:
        return pl.DataFrame(schema=SCHEMA)
    bands = pl.DataFrame({"condition_band": CONDITION_BANDS}).with_row_index("band")
    states = groups.join(bands, how="cross")
    cars = typed_frame(states.with_columns(channel=pl.lit(car.channel), country=pl.lit(car.country)), at)
    prices = model.distribution(cars)
    priced = states.hstack(prices.ranges(coverage).select("low", "mid", "high", "reason", "evidence"))
    this = (
        (pl.col("make") == car.make)
        & (pl.col("model") == car.model)
        & pl.col("variant").eq_missing(pl.lit(car.variant, dtype=pl.String))
    )
    candidates = []
    for name, budget in budgets.items():
        money = float(budget)
        standing = prices.standing(pl.Series([money]).new_from_index(0, len(cars)))
        fits = (pl.col("mid") <= money) & (pl.col("mid") >= LEAST_USED * money)
        candidates.append(
            priced.with_columns(within=standing, at=pl.lit(name), budget=pl.lit(money))
            .filter(pl.col("reason").is_null(), fits, ~this)
            .sort("band", descending=True, maintain_order=True)
            .unique(["make", "model", "variant"], keep="first", maintain_order=True)
            .sort(*_nearest(car, sold), descending=[False, False, True, True, False, False])
            .head(MOST)
            .select(pl.col(column).cast(kind) for column, kind in SCHEMA.items())
        )
    return pl.concat(candidates)


def _nearest(car: Car, sold: pl.DataFrame) -> list[pl.Expr]:
    """What the order of other cars is read from."""
    body: str | None = car.body_style
    if body is None:
        own = sold.filter(pl.col("make") == car.make, pl.col("model") == car.model)["body_style"]
        commonest: list[str] = own.drop_nulls().mode().sort().to_list()
        body = commonest[0] if commonest else None
    other = pl.col("body_style").ne_missing(pl.lit(body, dtype=pl.String)) & pl.lit(body is not None)
    apart = (pl.col("year").cast(pl.Int32) - car.year).abs() // YEARS_ALIKE
    return [other, apart, pl.col("band"), pl.col("mid"), pl.col("make"), pl.col("model")]
