"""Offers drawn in numpy, as rows of the record contract, and what records usually lack taken away."""

from typing import Final

import numpy as np
import polars as pl
import pyarrow
from numpy.typing import NDArray

from data_demo.parameters import CHANNELS, COUNTRIES, NOISE, OPTIONS, ORIGINALITY, Parameters
from data_demo.process import Cars, Offers
from pricing.arrays import Bools, Floats, Ints
from pricing.vocabulary import CONDITION_BANDS, OUTCOMES

Days = NDArray[np.datetime64]
MONEY = pl.Decimal(18, 3)
_OF_AUCTIONS: Final = ("low_estimate", "high_estimate", "reserve", "highest_bid")


def as_records(
    parameters: Parameters,
    cars: Cars,
    channel: Ints,
    day: Days,
    offers: Offers,
    *,
    car_number: Ints,
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
            **{name: getattr(offers, name) for name in _OF_AUCTIONS},
            "event_date": day,
            "days": offers.days_on_offer,
            "outcome": pl.Series(OUTCOMES)[offers.outcome],
        },
        nan_to_null=True,
    )
    sold, asking, auction = pl.col("outcome") == "sold", pl.col("outcome") == "asking", pl.col("auction")
    basis = pl.when(auction).then(pl.lit("hammer")).when(asking).then(pl.lit("asking"))
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
        price_basis=basis.otherwise(pl.lit("all-in")),
        premium=pl.when(auction & sold).then("premium").cast(MONEY),
        **{name: pl.col(name).cast(MONEY) for name in _OF_AUCTIONS},
        listed_on=pl.when(~auction).then(pl.col("event_date") - pl.duration(days="days")),
        notes=pl.lit(None, pl.String),
        date_precision=pl.lit(None, pl.String),
    )


def _option_lists(fitted: Bools) -> pl.Series:
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
    seen = {
        "condition_band": graded,
        "condition_score": graded & pl.Series(chance[1] < scored),
        "odometer_km": pl.Series(chance[2] < 0.85),
        "history_file": pl.Series(chance[3] < 0.8),
        "variant": pl.Series(chance[4] < 0.9),
    }
    return frame.with_columns(
        pl.when(is_seen).then(pl.col(name)).alias(name) for name, is_seen in seen.items()
    )


def row_truth(cars: Cars, expected: Floats, noise: Floats) -> pl.DataFrame:
    """What the price of each offer was drawn from: log_price (expected), noise, noise_sd, and the car's
    condition_score, seen or not."""
    sd = NOISE["sd"].to_numpy()[cars.band]
    truth = {"log_price": expected, "noise": noise, "noise_sd": sd, "condition_score": cars.score}
    return pl.DataFrame(truth)
