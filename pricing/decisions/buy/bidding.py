"""A bidding table: what each bid comes to with everything that is charged on it, and the way back."""

from decimal import ROUND_FLOOR, Decimal
from typing import Final

import polars as pl

from pricing.decisions.amounts import whole_units
from pricing.decisions.buy.day_one import DayOneTerms
from pricing.errors import DecisionError
from pricing.money.charges import Charge
from pricing.money.currencies import minor_unit_places

MOST_BIDS: Final = 60
"""Rows of a table: more are not read in a sale room."""

START: Final = Decimal("0.5")
"""Without a first bid said, the table starts at this share of the limit."""


def customary_step(bid: Decimal) -> Decimal:
    """The step from a bid to the next: a tenth to a twentieth, in 1, 2 and 5 (common practice, no source; a
    sale room prints its own).

    >>> [customary_step(Decimal(bid)) for bid in (1500, 2400, 7000)]
    [Decimal('100'), Decimal('200'), Decimal('500')]
    """
    unit = Decimal(1).scaleb(bid.adjusted() - 1)
    lead = bid.scaleb(-bid.adjusted())
    return Decimal(int(unit * (1 if lead < 2 else 2 if lead < 5 else 5))) if unit >= 1 else Decimal(1)


def bids_up_to(limit: Decimal, step: Decimal | None = None, start: Decimal | None = None) -> list[Decimal]:
    """The bids that may be made on the way to a limit, the last one at or below it.

    Raises:
        DecisionError: the step is not positive, or so small that the table would have no end.

    >>> [str(bid) for bid in bids_up_to(Decimal(2350), start=Decimal(1850))]
    ['1800', '1900', '2000', '2200']
    """
    if step is not None and not (step.is_finite() and step > 0):
        raise DecisionError(f"the step between bids must be above nought; got {step}")
    if limit < 1:
        return []
    first = limit * START if start is None else start
    first = max(first, Decimal(1))
    size = customary_step(first) if step is None else step
    bid = max((first / size).to_integral_value(ROUND_FLOOR) * size, size)
    bids: list[Decimal] = []
    while bid <= limit:
        bids.append(bid)
        bid += customary_step(bid) if step is None else step
        if len(bids) > MOST_BIDS:
            raise DecisionError(
                f"more than {MOST_BIDS} bids from {first:,.0f} to {limit:,.0f}: "
                f"take a longer step than {step}"
            )
    return bids


def bidding_table(
    terms: DayOneTerms, limit: Decimal, *, step: Decimal | None = None, start: Decimal | None = None
) -> pl.DataFrame:
    """Each bid up to the limit: ``price`` (the hammer price it would be), ``premium``, ``all_in``, ``total``
    on day one, and ``left`` (what stands between the bid and the limit)."""
    table = terms.lines(bids_up_to(limit, step, start))
    return table.select("price", "premium", "all_in", "total").with_columns(
        left=pl.lit(limit) - pl.col("price")
    )


def hammer_for(premium: Charge | None, all_in: list[Decimal], currency: str) -> pl.DataFrame:
    """The way back: the highest hammer price that each all-in amount allows (``all_in``, ``price``), null
    where the least premium alone is more."""
    scaled = [int(whole_units(amount, currency).scaleb(3)) for amount in all_in]
    frame = pl.DataFrame({"amount": pl.Series(scaled, dtype=pl.Int128)})
    hammer = pl.col("amount") if premium is None else premium.hammer_of_all_in(pl.col("amount"))
    money = pl.Decimal(38, minor_unit_places(currency))
    return frame.select(
        (value.cast(pl.Decimal(38, 3)) / 1000).cast(money).alias(name)
        for name, value in (("all_in", pl.col("amount")), ("price", hammer))
    )
