"""A sale on one channel, draw by draw: what is paid, what is charged, what is left, when, or that none comes.

What is left is brought to today: a month's wait takes the owner's discount off. A car that did not sell
within the time looked at counts as what it is worth to its owner where that is said; otherwise it is offered
on: at the next auction without a reserve, elsewhere until a buyer comes, or, where none ever pays what is
asked, for what the best one pays.
"""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from pricing.arrays import Bools, Floats
from pricing.decisions.amounts import Range
from pricing.decisions.sell.seller_terms import Charged, SaleTerms, SellerTerms

HORIZON: Final = 12
"""Weeks within which a chance of a sale is given."""

WEEKS_A_MONTH: Final = 365.25 / 12.0 / 7.0
WEEKS_TO_AUCTION: Final = 6.0
"""From entering a car to the sale (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class SaleDraws:
    """One way of selling a car, each of shape (draws,), in the seller's currency.

    ``charged`` holds what is paid, the hammer price and what the seller keeps where the car is ``sold``;
    ``weeks`` until then are infinite where it is not. ``left`` is what the owner has of it, sold or not,
    brought to today.
    """

    charged: Charged
    weeks: Floats
    left: Floats

    @property
    def sold(self) -> Bools:
        """Whether the car sells."""
        return np.isfinite(self.weeks)

    def chance(self, weeks: float = HORIZON) -> float:
        """Share of draws in which it sells within so many weeks."""
        return float((self.weeks <= weeks).mean())

    @property
    def half(self) -> float | None:
        """Weeks by which half of the draws have sold; None where fewer ever do."""
        middle = float(np.quantile(self.weeks, 0.5, method="inverted_cdf"))
        return middle if np.isfinite(middle) else None


@dataclass(frozen=True, eq=False)
class ChannelSale:
    """One channel, in the seller's currency; every figure is read from ``draws``.

    Args:
        chance: of a sale (at the reserve; within ``HORIZON`` weeks); None: the records do not tell.
        weeks: by which half sell; None: fewer do, or the records do not tell.
        paid, net: what the buyer pays all-in and what is left after charges, of sales.
        left: what is left on average, sold or not, brought to today.
        asking: what is asked at first; None at an auction. ``lines``: ``price``, ``commission``, ``entry
        fee``, ``net`` of the middle sale. ``open_lines``: charges that nothing was said about.
    """

    channel: str
    chance: float | None
    weeks: float | None
    paid: Range | None
    net: Range | None
    left: Decimal
    asking: Decimal | None
    lines: pl.DataFrame
    open_lines: tuple[str, ...]
    draws: SaleDraws = field(repr=False)


def summed_up(
    channel: str,
    draws: SaleDraws,
    charges: SaleTerms,
    *,
    known: bool,
    asking: Decimal | None,
) -> ChannelSale:
    """A channel's figures from its draws; ``known``: whether the records tell chance and wait."""
    sold, currency = draws.sold, charges.currency
    any_sold = bool(sold.any())
    middle = float(np.median(draws.charged.hammer[sold])) if any_sold else 0.0
    return ChannelSale(
        channel,
        chance=draws.chance() if known else None,
        weeks=draws.half if known else None,
        paid=Range.of(draws.charged.paid[sold], currency) if any_sold else None,
        net=Range.of(draws.charged.net[sold], currency) if any_sold else None,
        left=Range.of(np.full(1, draws.left.mean()), currency).mid,
        asking=asking,
        lines=charges.lines([Decimal(repr(middle))]),
        open_lines=charges.open_lines,
        draws=draws,
    )


def worth_now(terms: SellerTerms, weeks: ArrayLike) -> Floats:
    """What an amount after so many weeks is worth today."""
    return np.asarray((1.0 - terms.discount) ** (np.asarray(weeks) / WEEKS_A_MONTH))
