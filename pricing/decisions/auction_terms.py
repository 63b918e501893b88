"""The facts of an auction for a seller: reserve, estimate, chance of a sale and expected net."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.car import Car
from pricing.decisions.amounts import said
from pricing.decisions.bidding import customary_step
from pricing.decisions.highest_bids import HighestBids, mid_and_spread
from pricing.decisions.proceeds import SaleTerms
from pricing.decisions.reserves import Room
from pricing.decisions.seller_terms import SellerTerms
from pricing.model.distribution import PriceDistribution
from pricing.model.price_model import PriceModel
from pricing.vocabulary import CONDITION_BANDS

ATOMS: Final = 400
"""Equal parts that the law of the highest bid is read in."""

FEWEST_ESTIMATES: Final = 10


@dataclass(frozen=True, eq=False)
class AuctionFacts:
    """Hammer prices, in the seller's currency.

    Args:
        reserves: ``reserve`` (0: none), ``chance`` of a sale, ``net_if_sold``, ``expected`` (null without a
            worth of the car unsold).
        best: the reserve with the highest expected net; None without a worth of the car unsold.
        best_expected: what it is expected to leave.
        reserve: the one looked at: stated, else the best, else none (0).
        chance: of a sale at that reserve.
        sold_at: hammer prices of the sales at that reserve, equally likely.
        low_estimate, high_estimate: stated, else customary for the market with that reserve; None: unknown.
        customary_low: the low estimate the records lead to, before the reserve moves it.
        lots, unsold: how many are behind the chance.
    """

    reserves: pl.DataFrame
    best: Decimal | None
    best_expected: Decimal | None
    reserve: Decimal
    chance: float
    sold_at: Floats
    low_estimate: Decimal | None
    high_estimate: Decimal | None
    customary_low: Decimal | None
    lots: int
    unsold: int


def auction_facts(
    bids: HighestBids,
    estimates: tuple[float, float] | None,
    model: PriceModel,
    car: Car,
    at: date,
    price: PriceDistribution,
    rate: float,
    charges: SaleTerms,
    terms: SellerTerms,
) -> AuctionFacts:
    """What the records of lots say of a car at an auction; ``rate`` is units of the seller's currency for
    one of the market's."""
    band = car.condition_band
    place = CONDITION_BANDS.index(band) if band in CONDITION_BANDS else len(CONDITION_BANDS)
    _, spread = mid_and_spread(model, car.frame(at))
    inner = float(np.log(price.ppf(0.9) / price.ppf(0.1)).item()) / (2 * 1.2815515655446004)
    levels = (np.arange(ATOMS) + 0.5) / ATOMS
    units = bids.quantiles(levels, place)
    all_in = price.mid.item() * np.exp(max(inner, float(spread[0])) * units)
    hammer = np.maximum.accumulate(charges.hammer(all_in * rate))
    room = Room(hammer, charges.net(hammer), terms.bidders)
    own = None if terms.own_value is None else float(terms.own_value)
    kept = None if own is None else charges.kept_unsold(own, float(np.median(hammer)))
    tried = _candidates(hammer, terms.reserve)
    chance = room.chance(tried)
    expected = None if kept is None else room.expected(tried, kept)
    sold_net = np.where(chance > 1e-6, room.expected(tried, 0.0) / np.maximum(chance, 1e-6), np.nan)
    best, best_expected = (None, None)
    if kept is not None:
        found, net = room.best(tried, kept)
        best, best_expected = Decimal(repr(found)), Decimal(repr(round(net, 2)))
    chosen = terms.reserve if terms.reserve is not None else (best if best is not None else Decimal(0))
    reached = hammer[hammer >= float(chosen)]
    custom = None if estimates is None else _rounded(price.mid.item() * rate * np.exp(estimates[0]), charges)
    low, high = terms.low_estimate, terms.high_estimate
    if estimates is not None and custom is not None:
        low = max(custom, chosen) if low is None else low
        high = said(low * Decimal(repr(float(np.exp(estimates[1]))))) if high is None else high
    return AuctionFacts(
        reserves=pl.DataFrame(
            {
                "reserve": tried,
                "chance": chance,
                "net_if_sold": sold_net,
                "expected": np.full(len(tried), np.nan) if expected is None else expected,
            }
        ).fill_nan(None),
        best=best,
        best_expected=best_expected,
        reserve=chosen,
        chance=float(room.chance([float(chosen)])[0]),
        sold_at=reached if len(reached) else hammer[-1:],
        low_estimate=low,
        high_estimate=high,
        customary_low=custom,
        lots=bids.lots,
        unsold=bids.unsold,
    )


def customary_estimates(sales: pl.DataFrame, model: PriceModel) -> tuple[float, float] | None:
    """Logs, in the middle, of low estimate (all-in) over mid price and of high over low estimate, from sold
    lots; None where fewer than ``FEWEST_ESTIMATES`` have them."""
    lots = sales.filter(
        pl.col("outcome") == "sold",
        pl.col("channel") == "auction",
        pl.col("price_basis") == "hammer",
        pl.col("low_estimate").is_not_null(),
        pl.col("high_estimate").is_not_null(),
    )
    if len(lots) < FEWEST_ESTIMATES:
        return None
    low, high, amount, price = (
        lots[name].cast(pl.Float64).to_numpy()
        for name in ("low_estimate", "high_estimate", "amount", "price")
    )
    mid, _ = mid_and_spread(model, lots)
    return float(np.median(np.log(low / amount * price) - mid)), float(np.median(np.log(high / low)))


def _candidates(hammer: Floats, stated: Decimal | None) -> Floats:
    """No reserve, customary bids between the 1st and 99th per cent of the law, and the stated one."""
    low, high = float(np.quantile(hammer, 0.01)), float(np.quantile(hammer, 0.99))
    bids, bid = [0.0], said(Decimal(repr(max(low, 1.0))))
    while float(bid) <= high:
        step = customary_step(bid) / 2
        bid = (bid // step + 1) * step
        bids.append(float(bid))
    return np.array(sorted({*bids, *([] if stated is None else [float(stated)])}))


def _rounded(all_in: float, charges: SaleTerms) -> Decimal:
    """A hammer price in two figures, as estimates are printed."""
    hammer = Decimal(repr(float(charges.hammer(np.array([all_in]))[0])))
    step = customary_step(max(hammer, Decimal(1)))
    return max((hammer / step).to_integral_value() * step, step)
