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

from pricing.arrays import Floats
from pricing.decisions.ranges import Range
from pricing.decisions.sell.auction import Bidding, Bools
from pricing.decisions.sell.proceeds import Charged, SaleTerms
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.time_to_sale import TimeToSale
from pricing.decisions.sell.waiting import HORIZON, PrivateSale, private_sale
from pricing.money.charge_draws import in_units

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


def at_auction(bidding: Bidding, reserve: float, charges: SaleTerms, terms: SellerTerms) -> SaleDraws:
    """Offered at the next auction with a reserve (0: none)."""
    sold = bidding.sold(reserve)
    charged = charges.charged(bidding.hammer(reserve))
    soon, later = (_worth_now(terms, np.array(weeks)) for weeks in (WEEKS_TO_AUCTION, 2 * WEEKS_TO_AUCTION))
    again = charges.charged(bidding.second) if bidding.raises else charged
    fees = again.entry_fee + again.unsold_fee
    unsold = (
        later * again.net - soon * fees if terms.own_value is None else soon * (float(terms.own_value) - fees)
    )
    return SaleDraws(
        charged, np.where(sold, WEEKS_TO_AUCTION, np.inf), np.where(sold, soon * charged.net, unsold)
    )


def by_asking(
    value: Floats,
    wait: Floats,
    asks: Floats,
    mid: float,
    channel: str,
    times: TimeToSale | None,
    bargained: float,
    charges: SaleTerms,
    terms: SellerTerms,
) -> SaleDraws:
    """Asked privately or at a dealer, ``asks`` a step of some weeks each; see ``waiting.private_sale``."""
    lowest = 0.0 if terms.floor is None else float(terms.floor)
    sale = private_sale(value, wait, asks, mid, times, channel, bargained=bargained, lowest=lowest)
    return of_private(sale, value, charges, terms)


def of_private(sale: PrivateSale, value: Floats, charges: SaleTerms, terms: SellerTerms) -> SaleDraws:
    """What a private or dealer sale leaves."""
    charged = charges.charged(in_units(np.where(sale.sold, sale.paid, value), charges.currency))
    worth = _worth_now(terms, np.where(sale.sold, sale.weeks, 2.0 * HORIZON)) * charged.net
    if terms.own_value is not None:
        if_kept = _worth_now(terms, np.array(float(HORIZON))) * float(terms.own_value) - charged.entry_fee
        worth = np.where(sale.weeks <= HORIZON, worth, if_kept)
    return SaleDraws(charged, sale.weeks, worth)


def summed_up(
    channel: str,
    draws: SaleDraws,
    charges: SaleTerms,
    *,
    told: bool,
    asking: Decimal | None,
) -> ChannelSale:
    """A channel's figures from its draws; ``told``: whether the records tell chance and wait."""
    sold, currency = draws.sold, charges.currency
    any_sold = bool(sold.any())
    middle = float(np.median(draws.charged.hammer[sold])) if any_sold else 0.0
    return ChannelSale(
        channel,
        chance=draws.chance() if told else None,
        weeks=draws.half if told else None,
        paid=Range.of(draws.charged.paid[sold], currency) if any_sold else None,
        net=Range.of(draws.charged.net[sold], currency) if any_sold else None,
        left=Range.of(np.full(1, draws.left.mean()), currency).mid,
        asking=asking,
        lines=charges.lines([Decimal(repr(middle))]),
        open_lines=charges.open_lines,
        draws=draws,
    )


def _worth_now(terms: SellerTerms, weeks: Floats) -> Floats:
    """What an amount after so many weeks is worth today."""
    return np.asarray((1.0 - terms.discount) ** (weeks / WEEKS_A_MONTH))
