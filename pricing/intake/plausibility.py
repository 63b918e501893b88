"""Whether a file's figures can be what they are said to be, held against the market: asked before anything
is accepted.

Told are figures in thousands, pence for pounds, a currency off by its rate, miles taken for kilometres, and
years a century off; each with the evidence. What lies within what such cars differ by anyway is not told.
"""

from functools import cache
from typing import Final

import numpy as np
import polars as pl

from pricing.money.currencies import ecb_rates

FEWEST: Final = 8
"""Rows of cars that both the file and the market have, from which on they are held against each other."""

LEAST_PRICE: Final = 150.0
"""In euros: a file whose middle price is lower holds no prices of whole cars, as far as nothing else is
known."""

_MILE: Final = 1.609344
_RATE_APART: Final = float(np.log(6.0))
"""Currencies nearer to each other than six to one are not told apart by what cars cost: prices may triple."""

MARKET: Final = """
SELECT model_key, median(price) AS price, median(odometer_km) AS odometer_km, min("year") AS first_year,
    max("year") AS last_year
FROM records WHERE outcome IN ('sold', 'asking') GROUP BY model_key
"""
"""What is asked of the market: of each model the middle price and distance, and the years it was made in."""


def doubts(records: pl.DataFrame, market: pl.DataFrame, base: str) -> tuple[str, ...]:
    """What is doubtful in priced records, a sentence each, with the evidence.

    ``market`` is the answer to ``MARKET``; ``base`` is the currency of prices.

    >>> rows = pl.DataFrame({"model_key": ["six"] * 9, "price": [4.0 + 0.1 * row for row in range(9)]})
    >>> rows = rows.with_columns(currency=pl.lit("EUR"), odometer_km=pl.lit(None, pl.Float64), year=1968)
    >>> known = {"model_key": "six", "price": 4300.0, "odometer_km": None}
    >>> known |= {"first_year": 1966, "last_year": 1972}
    >>> doubts(rows, pl.DataFrame([known]), "EUR")
    ('prices are 1/1000 of what such cars sell for (middle of 9 rows of 1 models); are they in thousands?',)
    """
    figures = pl.col("price", "odometer_km").cast(pl.Float64)
    rows = records.select("model_key", "currency", "year", figures)
    both = rows.join(market.with_columns(figures), on="model_key", suffix="_market")
    sentences = (_of_prices(rows, both, base), _of_distances(both), _of_years(both))
    return tuple(sentence for sentence in sentences if sentence is not None)


def _of_prices(rows: pl.DataFrame, both: pl.DataFrame, base: str) -> str | None:
    pairs = both.filter((pl.col("price") > 0) & (pl.col("price_market") > 0))
    if pairs.height < FEWEST:
        priced = rows["price"].drop_nulls()
        middle = priced.median()
        if priced.len() >= FEWEST and isinstance(middle, float) and middle < LEAST_PRICE / _euros(base):
            return f"the middle of {priced.len():,} prices is {middle:,.0f} {base}; are they in thousands?"
        return None
    ratio = np.log(pairs["price"].to_numpy() / pairs["price_market"].to_numpy())
    middle = float(np.median(ratio))
    seen = f"(middle of {pairs.height:,} rows of {pairs['model_key'].n_unique():,} models)"
    if abs(middle + np.log(1000)) < 0.7:
        return f"prices are 1/1000 of what such cars sell for {seen}; are they in thousands?"
    if abs(middle - np.log(100)) < 0.5:
        return f"prices are 100 times what such cars sell for {seen}; are they in pence or cents?"
    if abs(middle) < _RATE_APART:
        return None
    stated = pairs["currency"].mode().sort()[0]
    others = sorted(set(_rates()) - {stated})
    away, likest = min((abs(middle + np.log(_euros(code) / _euros(stated))), code) for code in others)
    times = f"{np.exp(middle):.2g} times what such cars sell for {seen}"
    if away < 0.25 and stated in _rates():
        return (
            f"prices said to be in {stated} are {times}; in {likest} they would be what such cars sell for: "
            "is the currency right?"
        )
    return f"prices are {times}; are they what they are said to be?"


def _of_distances(both: pl.DataFrame) -> str | None:
    pairs = both.filter((pl.col("odometer_km") > 0) & (pl.col("odometer_km_market") > 0))
    if pairs.height < FEWEST:
        return None
    logs = pairs["odometer_km"].log() - pairs["odometer_km_market"].log()  # a quotient may overflow
    ratio = logs.filter(logs.is_finite()).to_numpy()
    middle = float(np.median(ratio))
    spread = 1.4826 * float(np.median(np.abs(ratio - middle)))
    error = 1.2533 * max(spread, 0.05) / np.sqrt(pairs.height)  # of a median, by the normal law
    seen = f"(middle of {pairs.height:,} rows)"
    if abs(middle + np.log(1000)) < 1.0:
        return f"distances are 1/1000 of those of such cars {seen}; are they in thousands?"
    mile = np.log(_MILE)
    for unit, other, away in (("kilometres", "miles", -mile), ("miles", "kilometres", mile)):
        if abs(middle - away) < 2.0 * error and abs(middle) > 3.0 * error and error < 0.15:
            return (
                f"distances are {np.exp(middle):.2f} times those of such cars {seen}; are the {unit} {other}?"
            )
    return None


def _of_years(both: pl.DataFrame) -> str | None:
    year, first, last = pl.col("year").cast(pl.Int32), pl.col("first_year"), pl.col("last_year")
    here = year.is_between(first - 30, last + 30)
    off = [(year + away).is_between(first - 1, last + 1) & ~here for away in (-100, 100)]
    count = both.select(pl.any_horizontal(off).sum()).item() or 0
    if count < 3:
        return None
    return (
        f"{count:,} model years are a century away from when such cars were made; were they of two figures?"
    )


@cache
def _rates() -> dict[str, float]:
    """What a euro bought of each currency when it was last quoted."""
    latest = ecb_rates().group_by("currency").agg(pl.col("units").last())
    return {code: units / 1e6 for code, units in latest.iter_rows()}


def _euros(code: str) -> float:
    """What one unit of a currency is in euros, about."""
    return 1.0 / _rates().get(code, 1.0)
