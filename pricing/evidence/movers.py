"""What rose and what fell: how far like sales of each model moved from one span to the next."""

from datetime import date, timedelta
from typing import Final

import polars as pl

from pricing.errors import EvidenceError

SPAN_DAYS: Final = 365
LEAST_SALES: Final = 6
"""Sales in the span and in the one before, each, below which a model's move is not told: its price is then
mostly its relations'."""


def movers(sales: pl.DataFrame, at: date, span_days: int = SPAN_DAYS) -> pl.DataFrame:
    """Every model with its move over the last ``span_days``, the sharpest rise first.

    The move compares like with like: the median of price over the model's own median at the same condition
    band, in the span and in the span before; bands that one of the two spans lacks are left out. So it is
    no more than the sales show. Its 90% interval is that of the difference of two medians of logarithms,
    each with the large-sample error of a median, 1.2533 standard deviations over the root of the count
    (normal scatter; from memory), the standard deviation told by the quartiles.

    Args:
        sales: as ``Market.sales`` gives them: ``make``, ``model``, ``event_date``, ``outcome``, ``price``,
            ``condition_band``.
        at: the day at which the span ends.

    Returns:
        ``make``, ``model``, ``per_cent``, ``low``, ``high`` (null without enough sales), ``sales`` and
        ``sales_before`` in the two spans, and ``told``: what the interval says of the move.

    Raises:
        EvidenceError: there is no sale in the two spans.

    >>> days = [date(2025, 1, 1)] * 8 + [date(2026, 1, 1)] * 8
    >>> prices = [100.0, 101.0, 102.0, 103.0, 104.0, 105.0, 106.0, 107.0]
    >>> frame = pl.DataFrame({"make": ["Corvane"] * 16, "model": ["Six"] * 16, "event_date": days,
    ...     "outcome": ["sold"] * 16, "condition_band": ["average"] * 16,
    ...     "price": prices + [1.2 * price for price in prices]})
    >>> movers(frame, date(2026, 3, 1)).select("model", pl.col("per_cent").round(1), "told").row(0)
    ('Six', 20.0, 'rose')
    """
    middle, first = at - timedelta(days=span_days), at - timedelta(days=2 * span_days)
    sold = sales.lazy().filter(
        pl.col("outcome") == "sold",
        pl.col("price").is_not_null(),
        pl.col("event_date").is_between(first, at, closed="right"),
    )
    cars = ("make", "model")
    priced = sold.select(
        *cars,
        band=pl.col("condition_band").cast(pl.String).fill_null("not graded"),
        log=pl.col("price").cast(pl.Float64).log(),
        late=pl.col("event_date") > middle,
    )
    both = pl.col("late").n_unique().over(*cars, "band") == 2
    level = pl.col("log").median().over(*cars, "band")
    like = priced.filter(both).with_columns(off=pl.col("log") - level)

    def of(late: bool) -> list[pl.Expr]:
        part = pl.col("off").filter(pl.col("late") == late)
        name = "" if late else "_before"
        spread = (part.quantile(0.75) - part.quantile(0.25)) / 1.349
        return [
            part.median().alias(f"median{name}"),
            part.len().alias(f"sales{name}"),
            (1.2533 * spread / part.len().cast(pl.Float64).sqrt()).alias(f"error{name}"),
        ]

    by_model = like.group_by(*cars).agg(*of(True), *of(False)).collect()
    if by_model.is_empty():
        raise EvidenceError("no model has sales in both of the last two years: load more sale records")
    move = pl.col("median") - pl.col("median_before")
    error = 1.645 * (pl.col("error") ** 2 + pl.col("error_before") ** 2).sqrt()
    enough = pl.min_horizontal("sales", "sales_before") >= LEAST_SALES
    told = (
        pl.when(~enough).then(pl.lit("too few sales to tell"))
        .when(move - error > 0).then(pl.lit("rose"))
        .when(move + error < 0).then(pl.lit("fell"))
        .otherwise(pl.lit("moved no more than chance"))
    )  # fmt: skip

    def per_cent(log: pl.Expr) -> pl.Expr:
        return pl.when(enough).then(100 * (log.exp() - 1))

    return by_model.select(
        *cars, per_cent(move).alias("per_cent"), per_cent(move - error).alias("low"),
        per_cent(move + error).alias("high"), "sales", "sales_before", told.alias("told"),
    ).sort("per_cent", "make", "model", descending=[True, False, False], nulls_last=True)  # fmt: skip
