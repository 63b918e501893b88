"""What a sale on each channel would leave the seller, as a distribution with the chance of no sale."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.decisions.amounts import Conversion
from pricing.decisions.auction_terms import AuctionFacts
from pricing.decisions.proceeds import SaleTerms
from pricing.decisions.seller_terms import SellerTerms
from pricing.model.distribution import PriceDistribution

HORIZON: Final = 12
"""Weeks after which a private or dealer sale that has not come about counts as none."""


ATOMS: Final = (np.arange(199) + 0.5) / 199
"""Levels of the prices that the net proceeds are worked out for."""


@dataclass(frozen=True)
class ChannelProceeds:
    """One channel, in the seller's currency.

    Args:
        low, mid, high: what buyers pay there, all-in (the model's 80 % range).
        net_low, net_mid, net_high: what a sale leaves the seller, 10th, 50th and 90th per cent of sales.
        chance: of a sale (at the reserve; within ``HORIZON`` weeks at ``asking``); None: unknown.
        weeks: by which half sell; None: unknown.
        expected: net of a sale and worth of the car unsold, weighted by the chance; None where either is
        unknown. lines: ``price``, ``commission``, ``entry fee``, ``net`` at the mid price.
        open_lines: charges that nothing was said about, so that nothing was taken off.
        law: ``level`` and ``net`` of a sale.
    """

    channel: str
    low: Decimal
    mid: Decimal
    high: Decimal
    net_low: Decimal
    net_mid: Decimal
    net_high: Decimal
    asking: Decimal | None
    chance: float | None
    weeks: float | None
    expected: Decimal | None
    lines: pl.DataFrame
    open_lines: tuple[str, ...]
    law: pl.DataFrame


def proceeds_on(
    channel: str,
    price: PriceDistribution,
    rate: float,
    sale_terms: SaleTerms,
    terms: SellerTerms,
    asked: float | None,
    chance: float | None,
    weeks: float | None,
    own: float | None,
    auction: AuctionFacts | None,
    conversion: Conversion,
) -> ChannelProceeds:
    """Net of a sale on a channel: at an auction of lots whose bid reaches the reserve, elsewhere never more
    than was asked."""
    if channel == "auction" and auction is not None:
        prices = auction.sold_at
    else:
        prices = sale_terms.hammer(price.ppf(ATOMS)[0] * rate)
        prices = prices if terms.asking is None else np.minimum(prices, float(terms.asking))
    net = np.sort(sale_terms.net(prices))
    levels = (np.arange(len(net)) + 0.5) / len(net)
    expected = None
    if chance is not None and own is not None:
        unsold = sale_terms.kept_unsold(own, float(np.median(prices)))
        expected = chance * float(net.mean()) + (1.0 - chance) * unsold

    def money(amount: float) -> Decimal:
        return conversion.from_base(conversion.to_base(Decimal(repr(float(amount)))))

    ends = [money(amount * rate) for amount in price.ppf([0.1, 0.5, 0.9])[0]]
    nets = [money(float(np.interp(level, levels, net))) for level in (0.1, 0.5, 0.9)]
    mid = float(sale_terms.hammer(price.mid * rate)[0])
    return ChannelProceeds(
        channel,
        low=ends[0],
        mid=ends[1],
        high=ends[2],
        net_low=nets[0],
        net_mid=nets[1],
        net_high=nets[2],
        asking=None if asked is None else money(asked),
        chance=chance,
        weeks=weeks,
        expected=None if expected is None else money(expected),
        lines=sale_terms.lines([Decimal(repr(mid))]),
        open_lines=sale_terms.open_lines,
        law=pl.DataFrame({"level": levels, "net": net}),
    )
