"""The same money elsewhere: other models, variants and condition bands of the market that fit a budget."""

from datetime import date
from decimal import Decimal
from typing import Final

import polars as pl

from pricing.car import Car, typed_frame
from pricing.decisions.price_by_score import GivesDistributions
from pricing.vocabulary import CONDITION_BANDS

FEWEST: Final = 5
"""Recorded sales that a model or variant needs to be named."""

LEAST_USED: Final = 0.6
"""A car whose mid price is less than this share of the budget is not the same money."""


def same_money(
    model: GivesDistributions,
    sales: pl.DataFrame,
    car: Car,
    at: date,
    budget: Decimal,
    *,
    coverage: float = 0.8,
) -> pl.DataFrame:
    """Cars that the budget buys as likely as not, in place of this one.

    Every make, model and variant with ``FEWEST`` sales or more, in every condition band, as a typical one
    (its median year, no options said) on the car's own channel and in its country, priced in one question.

    Columns: make, model, variant, year, condition_band, sales, low, mid, high, ``within`` (share of such cars
    that sell for the budget or less) and ``next_band`` (mid price one band up: what the market itself charges
    for the mending; null at the top). The best band first, for it has the least to mend, then by ``within``:
    what mending costs by model is not on record.
    """
    groups = (
        sales.filter(pl.col("outcome") == "sold")
        .group_by("make", "model", "variant")
        .agg(pl.col("year").median().round().cast(pl.Int16), sales=pl.len())
        .filter(pl.col("sales") >= FEWEST)
        .sort("make", "model", "variant", nulls_last=True)
    )
    bands = pl.DataFrame({"condition_band": CONDITION_BANDS}).with_row_index("band")
    states = groups.join(bands, how="cross")
    if states.is_empty():
        return _kept(states.with_columns(_NO_PRICES))
    cars = typed_frame(states.with_columns(channel=pl.lit(car.channel), country=pl.lit(car.country)), at)
    asking = pl.Series([float(budget)]).new_from_index(0, len(cars))
    ranges = model.distribution(cars).ranges(coverage, asking)
    priced = states.hstack(ranges.select("low", "mid", "high", "reason", within="standing")).with_columns(
        next_band=pl.col("mid").shift(-1).over("make", "model", "variant"),
    )
    this = (
        (pl.col("make") == car.make)
        & (pl.col("model") == car.model)
        & pl.col("variant").eq_missing(pl.lit(car.variant, dtype=pl.String))
    )
    fits = (pl.col("mid") <= float(budget)) & (pl.col("mid") >= LEAST_USED * float(budget))
    return _kept(priced.filter(pl.col("reason").is_null(), fits, ~this))


_NO_PRICES: Final = [
    pl.lit(None, dtype=pl.Float64).alias(name) for name in ("low", "mid", "high", "within", "next_band")
]


def _kept(priced: pl.DataFrame) -> pl.DataFrame:
    return priced.sort(
        "band", "within", "sales", "make", "model", descending=[True, True, True, False, False]
    ).select(
        "make", "model", "variant", "year", "condition_band", "sales", "low", "mid", "high", "within",
    "next_band" )  # fmt: skip
