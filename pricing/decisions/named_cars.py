"""The cars that a market knows by name."""

import polars as pl

from pricing.car_fields import NAMES


def named_cars(sales: pl.DataFrame, opinions: pl.DataFrame) -> pl.DataFrame:
    """Every make, model and variant that is on record or that somebody speaks of, in alphabetical order, with
    its number of ``sales``."""
    said = opinions.select(NAMES).with_columns(outcome=pl.lit(None, dtype=pl.String))
    return (
        pl.concat([sales.select(*NAMES, "outcome"), said])
        .group_by(NAMES)
        .agg(sales=(pl.col("outcome") == "sold").fill_null(False).sum())
        .sort(NAMES)
    )
