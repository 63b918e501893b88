"""Sales written down twice, of every kind the trade knows, each remembered as one sale."""

from typing import Final

import numpy as np
import polars as pl

from data_demo.market import EXCHANGE, LAST_DAY
from data_demo.offer_records import MONEY
from data_demo.premiums import all_in_of, hammer_of, schedule_of
from data_demo.process import round_to_steps

COUNTS: Final = {
    "same lot": 70,
    "offered again": 70,
    "listed again": 110,
    "listing that became a sale": 130,
    "two sources": 110,
}
"""Second records drawn, by kind."""


def add_duplicates(market: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """The market with second records of some sales.

    Adds ``true_sale`` (one number a sale, whatever the records of it), ``true_kind`` (null for a first
    record) and ``true_best`` (the record to keep in front). A resale more than a year later is a sale of its
    own.
    """
    market = market.with_columns(
        true_sale=pl.int_range(pl.len()), true_kind=pl.lit(None, pl.String), true_best=pl.lit(True)
    )
    sold, auction = pl.col("outcome") == "sold", pl.col("channel") == "auction"
    known = pl.col("chassis_number").is_not_null()
    early = pl.col("event_date") < LAST_DAY.replace(year=LAST_DAY.year - 1)
    traceable = known | pl.col("odometer_km").is_not_null()
    estimated = pl.col("low_estimate").is_not_null()
    kinds = {
        "same lot": (_same_lot, auction & pl.col("outcome").is_in(["sold", "unsold"]) & traceable),
        "offered again": (_offered_again, (pl.col("outcome") == "unsold") & estimated & known & early),
        "listed again": (_listed_again, (pl.col("outcome") == "asking") & known & early),
        "listing that became a sale": (_listing, ~auction & sold & known),
        "two sources": (_other_source, auction & sold & (pl.col("source") != EXCHANGE) & traceable),
    }
    free = market["true_oddity"].is_null()
    firsts, seconds = [], []
    for kind, (again, eligible) in kinds.items():
        rows = np.flatnonzero((market.select(eligible).to_series() & free).to_numpy())
        rows = np.sort(rng.choice(rows, COUNTS[kind], replace=False))
        free = free & ~pl.Series(np.isin(np.arange(market.height), rows))
        second = again(market[rows], rng).with_columns(true_kind=pl.lit(kind))
        seconds.append(second.select(market.columns))
        firsts.append(pl.DataFrame({"true_sale": rows, "better": second["true_best"]}))
    beaten = pl.concat(firsts).filter("better")["true_sale"].to_list()
    market = market.with_columns(true_best=~pl.col("true_sale").is_in(beaten))
    return pl.concat([market, *seconds])


def _same_lot(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Entered twice by two people: chassis number typed another way, grade or odometer left out."""
    chance = rng.random((3, rows.height))
    typed = pl.col("chassis_number").str.replace_all("[/-]", "").str.to_lowercase()
    return rows.with_columns(
        chassis_number=pl.when(pl.Series(chance[0] < 0.5)).then(typed).otherwise("chassis_number"),
        condition_band=pl.when(pl.Series(chance[1] < 0.6)).then("condition_band"),
        condition_score=pl.lit(None, pl.Float64),
        variant=pl.when(pl.Series(chance[2] < 0.7)).then("variant"),
        true_best=pl.lit(False),
    )


def _offered_again(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Unsold, and sold within four months for about what was bid, the reserve forgotten."""
    expected, rate = rows["true_log_price"].to_numpy(), rows["true_rate"].to_numpy()
    noise = rows["true_noise"].to_numpy() + rng.normal(0.0, 0.03, rows.height)
    pause = pl.Series(rng.integers(30, 115, rows.height))
    day = rows["event_date"] + pause.cast(pl.Duration("ms")) * 86_400_000
    schedule = schedule_of(rows["source"], rows["currency"], day)
    hammer = round_to_steps(hammer_of(np.exp(expected + noise) * rate, schedule), 0.5)
    return rows.with_columns(
        event_date=day,
        outcome=pl.lit("sold"),
        amount=pl.Series(hammer).cast(MONEY),
        premium=pl.Series(np.round(all_in_of(hammer, schedule) - hammer, 2)).cast(MONEY),
        low_estimate=(pl.col("low_estimate") * 0.9).round(0).cast(MONEY),
        **dict.fromkeys(("reserve", "highest_bid"), pl.lit(None, MONEY)),
        true_noise=pl.Series(noise),
        true_best=pl.lit(True),
    )


def _listed_again(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Not sold, and advertised anew a few weeks later for less."""
    pause, wait = rng.integers(5, 30, rows.height), rng.integers(15, 80, rows.height)
    amount = rows["amount"].cast(pl.Float64).to_numpy()
    asking = round_to_steps(amount * rng.uniform(0.88, 0.97, rows.height), 0.5)
    return rows.with_columns(
        listed_on=pl.col("event_date") + pl.duration(days=pl.lit(pl.Series(pause))),
        event_date=pl.col("event_date") + pl.duration(days=pl.lit(pl.Series(pause + wait))),
        amount=pl.Series(asking).cast(MONEY),
        true_best=pl.lit(True),
    )


def _listing(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """The advertisement that led to the sale, seen some days before it, by this source or by the exchange."""
    days = (rows["event_date"] - rows["listed_on"]).dt.total_days().to_numpy()
    before = (days * rng.uniform(0.05, 0.5, rows.height)).astype(np.int64)
    elsewhere = pl.Series(rng.random(rows.height) < 0.3)
    return rows.with_columns(
        event_date=pl.col("event_date") - pl.duration(days=pl.lit(pl.Series(before))),
        outcome=pl.lit("asking"),
        price_basis=pl.lit("asking"),
        amount=pl.col("true_asking"),
        source=pl.when(elsewhere).then(pl.lit(EXCHANGE)).otherwise("source"),
        true_best=pl.lit(False),
    )


def _other_source(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """The sale as the exchange has it: all-in, and less of the car."""
    chance = rng.random((2, rows.height))
    seen = pl.Series(chance[0] < 0.7) | pl.col("odometer_km").is_null()
    return rows.with_columns(
        source=pl.lit(EXCHANGE),
        chassis_number=pl.when(seen).then("chassis_number"),
        amount=pl.col("amount") + pl.col("premium"),
        price_basis=pl.lit("all-in"),
        **dict.fromkeys(("premium", "low_estimate", "high_estimate", "reserve"), pl.lit(None, MONEY)),
        condition_band=pl.when(pl.Series(chance[1] < 0.4)).then("condition_band"),
        condition_score=pl.lit(None, pl.Float64),
        true_best=pl.lit(False),
    )
