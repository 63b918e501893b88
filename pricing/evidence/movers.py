"""What rose and what fell: how far like sales of each model moved from one span to the next."""

from datetime import date
from typing import Final

import polars as pl

from pricing.errors import EvidenceError

SPAN_DAYS: Final = 365
LEAST_SALES: Final = 6
"""Sales in the span and in the one before, each, below which a model's move is not told: its price is then
mostly its relations'."""

TOO_FEW: Final = "too few sales to tell"


def movers(sales: pl.DataFrame, at: date, span_days: int = SPAN_DAYS) -> pl.DataFrame:
    """Every model on record with its move over the last ``span_days``, the sharpest rise first.

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
        ``sales_before``: like sales in the two spans, ``on_record``: all sales by ``at``, and ``told``: what
        the interval says of the move.

    Raises:
        EvidenceError: there is no sale by that day.

    >>> days = [date(2025, 1, 1)] * 8 + [date(2026, 1, 1)] * 8
    >>> prices = [100.0, 101.0, 102.0, 103.0, 104.0, 105.0, 106.0, 107.0]
    >>> frame = pl.DataFrame({"make": ["Corvane"] * 16, "model": ["Six"] * 16, "event_date": days,
    ...     "outcome": ["sold"] * 16, "condition_band": ["average"] * 16,
    ...     "price": prices + [1.2 * price for price in prices]})
    >>> movers(frame, date(2026, 3, 1)).select("model", pl.col("per_cent").round(1), "told").row(0)
    ('Six', 20.0, 'rose')
    """
    cars = ("make", "model")
    priced = (
        sales.lazy()
        .filter(
            pl.col("outcome") == "sold",
            pl.col("price").is_not_null(),
            pl.col("event_date") <= at,
            pl.all_horizontal(pl.col(cars).is_not_null()),
        )
        .select(
            *cars,
            band=pl.col("condition_band").cast(pl.String).fill_null("not graded"),
            log=pl.col("price").cast(pl.Float64).log(),
            span=(pl.lit(at) - pl.col("event_date")).dt.total_days() // span_days,
        )
    )
    both = (pl.col("span") == 0).any().over(*cars, "band") & (pl.col("span") == 1).any().over(*cars, "band")
    like = pl.col("span").is_between(0, 1) & both
    level = pl.col("log").filter(pl.col("span").is_between(0, 1)).median().over(*cars, "band")
    marked = priced.with_columns(like=like, off=pl.col("log") - level)

    def of(span: int, name: str) -> list[pl.Expr]:
        part = pl.col("off").filter(pl.col("like") & (pl.col("span") == span))
        spread = (part.quantile(0.75) - part.quantile(0.25)) / 1.349
        return [
            part.median().alias(f"median{name}"),
            part.len().alias(f"sales{name}"),
            (1.2533 * spread / part.len().cast(pl.Float64).sqrt()).alias(f"error{name}"),
        ]

    by_model = (
        marked.group_by(*cars).agg(*of(0, ""), *of(1, "_before"), pl.len().alias("on_record")).collect()
    )
    if by_model.is_empty():
        raise EvidenceError(f"no sale is on record by {at}: load sale records, or ask for a later day")
    move = pl.col("median") - pl.col("median_before")
    error = 1.645 * (pl.col("error") ** 2 + pl.col("error_before") ** 2).sqrt()
    enough = pl.min_horizontal("sales", "sales_before") >= LEAST_SALES
    direction = (
        pl.when(~enough).then(pl.lit(TOO_FEW))
        .when(move - error > 0).then(pl.lit("rose"))
        .when(move + error < 0).then(pl.lit("fell"))
        .otherwise(pl.lit("no more than chance"))
    )  # fmt: skip

    def per_cent(log: pl.Expr) -> pl.Expr:
        return pl.when(enough).then(100 * (log.exp() - 1))

    return by_model.select(
        *cars, per_cent(move).alias("per_cent"), per_cent(move - error).alias("low"),
        per_cent(move + error).alias("high"), "sales", "sales_before", "on_record", direction.alias("told"),
    ).sort(
        "per_cent", "on_record", "make", "model", descending=[True, True, False, False], nulls_last=True
    )  # fmt: skip
