"""Sales beside an index, as points: each one against what such cars sold for when the index was 100."""

import polars as pl

from pricing.evidence.indices.index import PriceIndex

MOST_POINTS = 400
"""Sales that are given, the newest first; more would hide each other."""


def sale_points(index: PriceIndex, sales: pl.DataFrame, where: dict[str, str]) -> pl.DataFrame:
    """Sold cars of a make or model with ``relative``: the price as a per cent of the median of like sales
    (model and condition band) brought to the base of the index by the index itself, so that a sale of the
    middling kind lies on the line.

    Returns:
        ``event_date``, ``make``, ``model``, ``year``, ``condition_band``, ``price``, ``relative``, newest
        first; no rows where the index has no points.
    """
    points = index.frame.drop_nulls("index").select(pl.col("starts").cast(pl.Date), "index").sort("starts")
    sold = (
        sales.filter(pl.col("outcome") == "sold", pl.col("price").is_not_null(), **where)
        .select("event_date", "make", "model", "year", "condition_band", pl.col("price").cast(pl.Float64))
        .sort("event_date")
    )
    joined = sold.join_asof(points, left_on="event_date", right_on="starts").drop_nulls("index")
    like = ("make", "model", "condition_band")
    level = (pl.col("price") / pl.col("index")).median().over(*like)
    return (
        joined.with_columns(relative=pl.col("price") / level)
        .drop("starts", "index")
        .sort("event_date", descending=True)
        .head(MOST_POINTS)
    )
