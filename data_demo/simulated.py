"""A market of any size with known truth, in the shape of ``Market.sales()``: for tests and benchmarks."""

from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import polars as pl

from data_demo.offer_records import as_records, hide, row_truth
from data_demo.parameters import CHANNELS, PREMIUM_RATE, Parameters, draw_parameters
from data_demo.process import Cars, draw_cars, draw_noise, log_price, make_offers
from pricing.arrays import Ints

CHUNK: Final = 1_000_000
"""Rows drawn at a time, so that ten million fit in memory."""


@dataclass(frozen=True)
class SimulatedTruth:
    """What a simulated market was drawn from."""

    parameters: Parameters
    rows: pl.DataFrame
    """One row a row of the market: ``log_price`` (the expectation, which is also the median), ``noise_sd``,
    ``noise`` (what this sale departed by), ``condition_score`` (of every car, graded or not)."""


def simulate_market(
    rows: int,
    models: int,
    seed: int,
    *,
    makes: int | None = None,
    first_day: date = date(2016, 7, 1),
    last_day: date = date(2026, 6, 30),
    ungraded: float = 0.35,
    scored: float = 0.4,
    all_sold: bool = False,
    again: float = 0.08,
    interactions: float = 0.0,
) -> tuple[pl.DataFrame, SimulatedTruth]:
    """Draw a market: the frame a market gives, and the truth behind it.

    Models follow a long tail (weight of the ``j``-th proportional to ``1 / (j + 2)``, a Zipf law).
    ``ungraded`` is the share of rows without a condition band, ``scored`` the share of graded rows with a
    score as well, ``again`` the share of rows that offer the car of another row again, on another day.
    Outcomes come about as ``data_demo.process.make_offers`` says; with ``all_sold`` every row is instead a
    sale at the price that the car fetches, whatever its reserve. ``interactions`` (0 none, 1 as in the demo
    market) makes effects depend on each other. Prices are all-in and in EUR. Rows are in no order of date.

    >>> frame, truth = simulate_market(1000, 40, seed=7)
    >>> frame.height, truth.rows.height, frame["outcome"].unique().sort().to_list()
    (1000, 1000, ['asking', 'sold', 'unsold', 'withdrawn'])
    """
    rng = np.random.default_rng(seed)
    catalogue = _catalogue(models, max(1, models // 10) if makes is None else makes, rng)
    parameters = draw_parameters(
        catalogue, rng, first_day=first_day, last_day=last_day, interactions=interactions
    )
    period = np.datetime64(first_day, "D"), np.datetime64(last_day, "D")
    parts, truths = [], []
    for start in range(0, rows, CHUNK):
        size = min(CHUNK, rows - start)
        cars, number = _some_again(parameters, size, again, rng)
        day = period[0] + rng.integers(0, (period[1] - period[0]).astype(int) + 1, size)
        month = (day.astype("datetime64[M]") - period[0].astype("datetime64[M]")).astype(np.int64)
        channel = rng.choice(CHANNELS.height, size, p=CHANNELS["share"].to_numpy())
        expected, noise = log_price(parameters, cars, channel, month), draw_noise(cars, rng)
        offers = make_offers(expected, noise, channel, rng)
        if all_sold:
            fetched = np.exp(expected + noise) / np.where(channel == 0, 1 + PREMIUM_RATE, 1.0)
            nothing = np.full(size, np.nan)
            sold = np.zeros(size, np.int64)
            offers = replace(offers, outcome=sold, amount=fetched, reserve=nothing, highest_bid=nothing)
        numbers, premium = number + start, offers.amount * PREMIUM_RATE
        records = as_records(parameters, cars, channel, day, offers, car_number=numbers, premium=premium)
        parts.append(_priced(hide(records, rng, ungraded=ungraded, scored=scored), start))
        truths.append(row_truth(cars, expected, noise))
    return pl.concat(parts), SimulatedTruth(parameters, pl.concat(truths))


def _catalogue(models: int, makes: int, rng: np.random.Generator) -> pl.DataFrame:
    make = np.sort(np.concatenate([np.arange(makes), rng.integers(0, makes, models - makes)]))
    first = rng.integers(1948, 1980, models)
    return pl.DataFrame(
        {
            "make": "make " + pl.Series(make).cast(pl.String),
            "model": "model " + pl.Series(np.arange(models)).cast(pl.String),
            "weight": 1.0 / (rng.permutation(models) + 3.0),
            "first_year": first,
            "last_year": first + rng.integers(3, 15, models),
        }
    )


def _some_again(
    parameters: Parameters, size: int, again: float, rng: np.random.Generator
) -> tuple[Cars, Ints]:
    """Cars of ``size`` rows and the number of each, some of them the same car a second time."""
    new = size - round(size * again)
    number = np.concatenate([np.arange(new), rng.integers(0, new, size - new)])
    return draw_cars(parameters, new, rng).take(number), number


def _priced(records: pl.DataFrame, start: int) -> pl.DataFrame:
    """The columns before ``make`` and the three prices that a market derives."""
    auction, unsold = pl.col("channel") == "auction", pl.col("outcome") == "unsold"
    all_in, cents = 1 + PREMIUM_RATE, pl.Decimal(18, 2)
    row = pl.int_range(start, start + records.height, eager=True).cast(pl.String)
    return records.select(
        pl.lit("sim-" + row).alias("record_id"),
        pl.lit("simulated").alias("source"),
        pl.lit(row).alias("source_ref"),
        pl.lit("simulated").alias("batch_id"),
        pl.all(),
        price=pl.when(auction).then(pl.col("amount") * all_in).otherwise("amount").cast(cents),
        lower_price=pl.when(unsold).then(pl.col("highest_bid") * all_in).cast(cents),
        upper_price=pl.when(unsold).then(pl.coalesce("reserve", "low_estimate") * all_in).cast(cents),
    )
