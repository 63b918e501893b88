"""An auction: whether a lot sells at a reserve, and for what, in every draw; what the records say of lots and
estimates; and the reserve and estimate that leave most.

Without a word about the room the highest bid is what the price model draws, and is paid whenever it reaches
the reserve: a reserve guards against a low price and raises nothing. With a stated number of bidders, each
with a value of their own from one law ``F`` (independent private values), what is drawn is the second highest
value; the highest lies above it, evenly in terms of ``F``; the lot sells when the highest value reaches the
reserve, at the higher of the second value and the reserve (Riley and Samuelson 1981; Myerson 1981; Krishna,
Auction Theory, ch. 2). The law of the second highest is ``G = n F^(n-1) - (n-1) F^n``.
"""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from pricing.arrays import Bools, Floats
from pricing.decisions.amounts import three_figures
from pricing.decisions.buy.day_one import customary_step
from pricing.decisions.sell.channel_sale import WEEKS_TO_AUCTION, SaleDraws, worth_now
from pricing.decisions.sell.seller_terms import SaleTerms, SellerTerms
from pricing.errors import DecisionError
from pricing.model.price_model import PriceModel

MOST_BIDDERS: Final = 50


@dataclass(frozen=True, eq=False)
class Bidding:
    """Hammer prices of a lot without a reserve (``second``) and the value of the highest bidder
    (``highest``), both of shape (draws,); ``raises`` where a reserve between the two is paid."""

    second: Floats
    highest: Floats
    raises: bool

    @classmethod
    def drawn(cls, hammer: Floats, bidders: int | None, top: Floats) -> "Bidding":
        """From draws of the hammer price and levels ``top`` of the highest bidder above the second.

        Raises:
            DecisionError: the number of bidders is none.
        """
        if bidders is None:
            return cls(hammer, hammer, raises=False)
        if not 2 <= bidders <= MOST_BIDDERS:
            raise DecisionError(f"bidders: expected 2 to {MOST_BIDDERS}; got {bidders}")
        order = np.argsort(hammer, kind="stable")
        level = np.empty(len(hammer))
        middles = (np.arange(len(hammer)) + 0.5) / len(hammer)
        level[order] = middles
        share = values_share(level, bidders)
        share = 1.0 - (1.0 - share) * (1.0 - top)
        above = bidders * share ** (bidders - 1) - (bidders - 1) * share**bidders
        return cls(hammer, np.maximum(np.interp(above, middles, hammer[order]), hammer), raises=True)

    def sold(self, reserve: ArrayLike) -> Bools:
        """Whether the lot sells in each draw, at one reserve or at each of several (reserves x draws)."""
        return np.asarray(self.highest >= np.asarray(reserve)[..., None])

    def hammer(self, reserve: float) -> Floats:
        """What is paid at a reserve where the lot sells: never below the reserve."""
        return np.maximum(self.second, reserve) if self.raises else self.second


def values_share(second: ArrayLike, bidders: int) -> Floats:
    """The law ``F`` of one bidder's value where the law of the second highest of ``bidders`` is ``second``.

    >>> np.round(values_share([0.0, 0.75, 1.0], 2), 6).tolist()  # 2F - F^2 = 3/4 at F = 1/2
    [0.0, 0.5, 1.0]
    """
    grid = np.sin(np.linspace(0.0, np.pi / 2, 4001)) ** 2
    law = bidders * grid ** (bidders - 1) - (bidders - 1) * grid**bidders
    return np.interp(np.asarray(second, dtype=np.float64), law, grid)


FEWEST_LOTS: Final = 40
FEWEST_UNSOLD: Final = 5
"""With fewer lots, or fewer unsold ones among them, no chance of a sale is given."""

FEWEST_RESERVES: Final = 20
"""Lots with a known reserve, below which the draws are held against nothing."""

FEWEST_ESTIMATES: Final = 10


@dataclass(frozen=True)
class AuctionEvidence:
    """Lots on record, and how many of them were ``unsold``; of those with a known reserve
    (``with_reserve``) the share ``sold`` and the share ``expected`` to sell by the price model's distribution
    of each: whoever sets a reserve has seen the car, and the model has not. ``estimates``: logs of the
    low estimate all-in over the mid price and of the high over the low estimate, in the middle; None:
    unknown."""

    lots: int
    unsold: int
    with_reserve: int
    sold: float | None
    expected: float | None
    estimates: tuple[float, float] | None

    @property
    def tells(self) -> bool:
        """Whether there are lots enough to speak of a chance of a sale."""
        return self.lots >= FEWEST_LOTS and self.unsold >= FEWEST_UNSOLD


NO_LOTS: Final = AuctionEvidence(0, 0, 0, None, None, None)
"""Of a market with too few sales to learn from."""


def auction_evidence(sales: pl.DataFrame, model: PriceModel) -> AuctionEvidence:
    """Read it from the lots of ``Market.sales()``; the model is the one fitted on them."""
    lots = sales.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))
    hammer = lots.filter(pl.col("price_basis") == "hammer", pl.col("amount").is_not_null())
    known = lots.filter(pl.col("reserve").is_not_null())
    sold = expected = None
    if known.height >= FEWEST_RESERVES:
        reserve = (
            known.select(pl.col("reserve", "amount", "price", "upper_price").cast(pl.Float64))
            .select(pl.coalesce("upper_price", pl.col("reserve") / pl.col("amount") * pl.col("price")))
            .to_series()
        )
        priced = known.filter(reserve.is_not_null())
        if priced.height >= FEWEST_RESERVES:
            below = model.distribution(priced).cdf(reserve.drop_nulls().to_numpy())
            sold = float((priced["outcome"] == "sold").mean())  # type: ignore[arg-type]
            expected = float(1.0 - np.nanmean(below))
    unsold = int((lots["outcome"] == "unsold").sum())
    estimates = customary_estimates(hammer, model)
    return AuctionEvidence(lots.height, unsold, known.height, sold, expected, estimates)


def customary_estimates(hammer: pl.DataFrame, model: PriceModel) -> tuple[float, float] | None:
    """Logs, in the middle, of low estimate (all-in) over mid price and of high over low estimate, from sold
    lots on the hammer basis; None where fewer than ``FEWEST_ESTIMATES`` have them."""
    lots = hammer.filter(pl.col("outcome") == "sold").drop_nulls(["low_estimate", "high_estimate"])
    if len(lots) < FEWEST_ESTIMATES:
        return None
    low, high, amount, price = (
        lots[name].cast(pl.Float64).to_numpy()
        for name in ("low_estimate", "high_estimate", "amount", "price")
    )
    over = np.log(low / amount * price / model.distribution(lots).mid)
    return float(np.nanmedian(over)), float(np.median(np.log(high / low)))


def at_auction(bidding: Bidding, reserve: float, charges: SaleTerms, terms: SellerTerms) -> SaleDraws:
    """Offered at the next auction with a reserve (0: none)."""
    sold = bidding.sold(reserve)
    charged = charges.charged(bidding.hammer(reserve))
    soon, later = (worth_now(terms, weeks) for weeks in (WEEKS_TO_AUCTION, 2 * WEEKS_TO_AUCTION))
    again = charges.charged(bidding.second) if bidding.raises else charged
    fees = again.entry_fee + again.unsold_fee
    unsold = (
        later * again.net - soon * fees if terms.own_value is None else soon * (float(terms.own_value) - fees)
    )
    return SaleDraws(
        charged, np.where(sold, WEEKS_TO_AUCTION, np.inf), np.where(sold, soon * charged.net, unsold)
    )


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
        high = (
            three_figures(low * Decimal(repr(float(np.exp(evidence.estimates[1]))))) if high is None else high
        )
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
    bids, bid = [], three_figures(Decimal(repr(max(low, 1.0))))
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
