"""A reserve and an estimate for an auction: chance of a sale, and what is left, against the reserve."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.decisions.amounts import said
from pricing.decisions.buy.bidding import customary_step
from pricing.decisions.sell.auction import Bidding
from pricing.decisions.sell.auction_evidence import AuctionEvidence
from pricing.decisions.sell.channel_sale import SaleDraws, at_auction
from pricing.decisions.sell.proceeds import SaleTerms
from pricing.decisions.sell.seller_terms import SellerTerms

MOST_RESERVES: Final = 24
"""Rows of the table: more are not read."""


@dataclass(frozen=True, eq=False)
class AuctionFacts:
    """Hammer prices, in the seller's currency.

    Args:
        reserves: ``reserve`` (0: none), ``chance`` of a sale, ``net`` (mean of sales; null without any) and
            ``left`` (mean, sold or not, brought to today).
        best, best_left: the reserve that leaves most, and what it leaves.
        reserve: the one looked at: stated, else the best.
        low_estimate, high_estimate: stated, else customary for the market with that reserve; None: unknown.
        customary_low: the low estimate the records lead to, before the reserve moves it.
        evidence: the lots behind it.
    """

    reserves: pl.DataFrame
    best: Decimal
    best_left: Decimal
    reserve: Decimal
    low_estimate: Decimal | None
    high_estimate: Decimal | None
    customary_low: Decimal | None
    evidence: AuctionEvidence
    draws: SaleDraws = field(repr=False)
    """Of the sale with ``reserve``."""


def auction_facts(
    value: Floats,
    mid: float,
    top: Floats,
    evidence: AuctionEvidence,
    charges: SaleTerms,
    terms: SellerTerms,
) -> AuctionFacts:
    """Offer a car at auction.

    Args:
        value: what is paid all-in in each draw without a reserve, in the seller's currency.
        mid: its middle.
        top: levels of the highest bidder above the second; see ``auction``.
    """
    bidding = Bidding.drawn(charges.hammer(value), terms.bidders, top)
    tried = reserves_tried(bidding.second, terms.reserve)
    rows = [at_auction(bidding, float(reserve), charges, terms) for reserve in tried]
    left = np.array([row.left.mean() for row in rows])
    place = int(np.argmax(left >= left.max() - 1e-9 * abs(left.max())))
    chosen = tried[place] if terms.reserve is None else terms.reserve
    custom = None
    low, high = terms.low_estimate, terms.high_estimate
    if evidence.estimates is not None:
        custom = _rounded(mid * float(np.exp(evidence.estimates[0])), charges)
        low = max(custom, chosen) if low is None else low
        high = said(low * Decimal(repr(float(np.exp(evidence.estimates[1]))))) if high is None else high
    return AuctionFacts(
        reserves=pl.DataFrame(
            {
                "reserve": [float(reserve) for reserve in tried],
                "chance": [float(row.sold.mean()) for row in rows],
                "net": [float(row.charged.net[row.sold].mean()) if row.sold.any() else None for row in rows],
                "left": left,
            }
        ),
        best=tried[place],
        best_left=Decimal(repr(round(float(left[place]), 2))),
        reserve=chosen,
        low_estimate=low,
        high_estimate=high,
        customary_low=custom,
        evidence=evidence,
        draws=rows[tried.index(chosen)],
    )


def reserves_tried(hammer: Floats, stated: Decimal | None) -> list[Decimal]:
    """No reserve, customary bids between the 1st and 99th per cent of the hammer prices, and the stated one,
    rising."""
    low, high = float(np.quantile(hammer, 0.01)), float(np.quantile(hammer, 0.99))
    bids, bid = [], said(Decimal(repr(max(low, 1.0))))
    while float(bid) <= high:
        step = customary_step(bid) / 2
        bid = (bid // step + 1) * step
        bids.append(bid)
    every = -(-len(bids) // MOST_RESERVES)
    return sorted({Decimal(0), *bids[::every], *([] if stated is None else [stated])})


def _rounded(all_in: float, charges: SaleTerms) -> Decimal:
    """A hammer price in two figures, as estimates are printed."""
    hammer = Decimal(repr(float(charges.hammer(np.array([all_in]))[0])))
    step = customary_step(max(hammer, Decimal(1)))
    return max((hammer / step).to_integral_value() * step, step)
