"""Offers drawn in numpy, as rows of the record contract, and what records usually lack taken away."""

import numpy as np
import polars as pl
import pyarrow
from numpy.typing import NDArray

from data_demo.parameters import CHANNELS, COUNTRIES, OPTIONS, ORIGINALITY, Floats, Integers, Parameters
from data_demo.process import Cars, Offers
from pricing.vocabulary import CONDITION_BANDS, OUTCOMES

Days = NDArray[np.datetime64]
MONEY = pl.Decimal(18, 3)


def as_records(
    parameters: Parameters,
    cars: Cars,
    channel: Integers,
    day: Days,
    offers: Offers,
    *,
    car_number: Integers,
    premium: Floats,
) -> pl.DataFrame:
    """The contract's columns from ``make`` to ``notes``, in EUR; chassis numbers count the cars.

    ``premium`` is what each auction lot bears when sold, in the currency of ``offers``.
    """
    names = parameters.models.select("make", "model")[cars.model]
    raw = pl.DataFrame(
        {
            "number": car_number,
            "auction": channel == 0,
            "right": cars.country == 0,
            "amount": offers.amount,
            "premium": premium,
            "low_estimate": offers.low_estimate,
            "high_estimate": offers.high_estimate,
            "reserve": offers.reserve,
            "highest_bid": offers.highest_bid,
            "event_date": day,
            "days": offers.days_on_offer,
            "outcome": pl.Series(OUTCOMES)[offers.outcome],
        },
        nan_to_null=True,
    )
    sold, asking, auction = pl.col("outcome") == "sold", pl.col("outcome") == "asking", pl.col("auction")
    basis = (
        pl.when(auction)
        .then(pl.lit("hammer"))
        .when(asking)
        .then(pl.lit("asking"))
        .otherwise(pl.lit("all-in"))
    )
    return raw.select(
        make=names["make"],
        model=names["model"],
        variant=parameters.variants["variant"][cars.variant],
        year=pl.Series(cars.year, dtype=pl.Int16),
        chassis_number=pl.format("C{}", "number"),
        body_style=pl.lit(None, pl.String),
        drive_side=pl.when("right").then(pl.lit("right")).otherwise(pl.lit("left")),
        condition_band=pl.Series(CONDITION_BANDS)[cars.band],
        condition_score=pl.Series(np.floor(cars.score * 10) / 10),
        odometer_km=pl.Series(cars.odometer_km),
        options=_option_lists(cars.options),
        matching_numbers=ORIGINALITY["matching_numbers"][cars.matching],
        history_file=pl.Series(cars.history),
        channel=CHANNELS["channel"][channel],
        country=COUNTRIES["country"][cars.country],
        outcome="outcome",
        event_date="event_date",
        amount=pl.col("amount").cast(MONEY),
        currency=pl.lit("EUR"),
        price_basis=basis,
        premium=pl.when(auction & sold).then("premium").cast(MONEY),
        low_estimate=pl.col("low_estimate").cast(MONEY),
        high_estimate=pl.col("high_estimate").cast(MONEY),
        reserve=pl.col("reserve").cast(MONEY),
        highest_bid=pl.col("highest_bid").cast(MONEY),
        listed_on=pl.when(~auction).then(pl.col("event_date") - pl.duration(days="days")),
        notes=pl.lit(None, pl.String),
        date_precision=pl.lit(None, pl.String),
    )


def _option_lists(fitted: NDArray[np.bool_]) -> pl.Series:
    """The codes of the options that each car has, from a yes/no matrix."""
    codes = pl.Series(OPTIONS["option"])[np.nonzero(fitted)[1]]
    ends = np.concatenate([[0], np.cumsum(fitted.sum(axis=1))])
    lists = pl.from_arrow(pyarrow.LargeListArray.from_arrays(ends, codes.to_arrow()))
    return lists if isinstance(lists, pl.Series) else lists.to_series()


def hide(
    frame: pl.DataFrame, rng: np.random.Generator, *, ungraded: Floats | float, scored: float
) -> pl.DataFrame:
    """Take away what records usually lack: ``ungraded`` is the chance of neither band nor score, ``scored``
    that a graded row has a score as well."""
    chance = rng.random((5, frame.height))
    graded = pl.Series(chance[0] >= ungraded)
    keep = {
        "condition_band": graded,
        "condition_score": graded & pl.Series(chance[1] < scored),
        "odometer_km": pl.Series(chance[2] < 0.85),
        "history_file": pl.Series(chance[3] < 0.8),
        "variant": pl.Series(chance[4] < 0.9),
    }
    return frame.with_columns(pl.when(shown).then(pl.col(name)).alias(name) for name, shown in keep.items())
