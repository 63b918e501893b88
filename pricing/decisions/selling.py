"""Selling: net proceeds by channel, a reserve and an estimate, an asking price, and what to do first."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any, Final, Protocol

import numpy as np
import polars as pl

from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import Conversion
from pricing.decisions.asking_prices import STEPS, chances, ladder
from pricing.decisions.auction_terms import AuctionFacts, auction_facts, customary_estimates
from pricing.decisions.car_price import inspected, price_of
from pricing.decisions.channel_proceeds import HORIZON, ChannelProceeds, proceeds_on
from pricing.decisions.first_jobs import worth_doing
from pricing.decisions.gap import asking_gap_of
from pricing.decisions.highest_bids import HighestBids, later_lots
from pricing.decisions.plain import plain
from pricing.decisions.proceeds import SaleTerms
from pricing.decisions.seller_terms import SellerTerms
from pricing.decisions.time_to_sale import TimeToSale, kaplan_meier, listings_of, log_rank
from pricing.decisions.valuation import Evidence, Valuation, value_car
from pricing.errors import DecisionError
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel
from pricing.money.charges import Schedule
from pricing.progress import Progress, untold
from pricing.snapshot import Snapshot
from pricing.vocabulary import CHANNELS

CAUTIONS: Final = (
    "Expected proceeds from sale records are not advice, and no promise: the records have not seen this car.",
    "Commission, fees and tax on a sale are for the contract and for local law: read both before you sign.",
    "Tell a buyer of every fault you know of; what must be told is for local law.",
)


class Records(Protocol):
    """What is read of a market to learn how its cars sell: a ``Snapshot`` is one."""

    def sales(self, as_of: date | None = None, *, every_record: bool = False) -> pl.DataFrame:
        """The sales and offers, as ``Market.sales`` gives them."""


@dataclass(frozen=True)
class SellingEvidence:
    """What the market's records say of selling, learnt once for many cars: None where they do not say."""

    bids: HighestBids | None
    times: TimeToSale | None
    estimates: tuple[float, float] | None
    """Log of the low estimate over the mid price all-in, and of the high over the low, in the middle."""
    waits: pl.DataFrame | None = None
    """Share of cars still for sale after each day (Kaplan and Meier): ``days``, ``share``."""
    slower: float | None = None
    """Log-rank p value that cars asked dearer than the middle sell no slower or faster than the others."""


@dataclass(frozen=True)
class Selling:
    """Facts for a seller; amounts in the currency of ``terms``, but for ``valuation`` and ``first``, which
    are in the market's base currency.

    Args:
        channels: ``ChannelProceeds`` in the order of the vocabulary, those that no range can be given for
        left out. auction: see ``AuctionFacts``; None where the records tell too little of lots.
        asking: by channel (dealer, private), see ``asking_prices.chances``; ``ladders`` likewise.
        waits, slower, times: see ``SellingEvidence``; of ``times``, whether its elasticity allows for the
            error of the mid prices it was learnt from.
        first: see ``first_jobs.worth_doing``.
        unknown: what the records do not say, in sentences.
    """

    valuation: Valuation
    terms: SellerTerms
    conversion: Conversion
    channels: tuple[ChannelProceeds, ...]
    auction: AuctionFacts | None
    asking: dict[str, pl.DataFrame]
    ladders: dict[str, pl.DataFrame]
    waits: pl.DataFrame | None
    slower: float | None
    times: TimeToSale | None
    first: pl.DataFrame
    unknown: tuple[str, ...]
    rates: str
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def currency(self) -> str:
        """Currency of the seller's amounts."""
        return self.conversion.currency

    def to_dict(self) -> dict[str, Any]:
        """The facts as values that JSON can hold."""
        facts: dict[str, Any] = plain(self)
        return facts


def selling_evidence(
    market: Records,
    model: PriceModel,
    as_of: date | None = None,
    progress: Progress = untold,
) -> SellingEvidence:
    """Learn from a market's records how cars sell: bids, times and estimates (a fit to the earlier records
    is made on the way, so it takes about as long as a fit).

    ``progress`` is told each step, how many are done, and of how many.
    """
    if isinstance(model, OpinionBands):  # too few sales to learn anything from
        return SellingEvidence(bids=None, times=None, estimates=None)
    progress("reading the records", 0, 7)
    sales, every = market.sales(as_of=as_of), market.sales(as_of=as_of, every_record=True)
    progress("days on offer against the asking price", 1, 7)
    listings = listings_of(sales, every, model)
    times = TimeToSale.learn(listings)
    dearer = listings.ratio > np.median(listings.ratio) if len(listings.ratio) else listings.sold
    lots = later_lots(
        sales,
        model,
        lambda step, done, total: progress(
            f"a model of before the later auctions, {step}", 2 + 3 * done // total, 7
        ),
    )
    progress("highest bids at the later auctions", 5, 7)
    bids = HighestBids.learn(lots)
    progress("customary estimates", 6, 7)
    return SellingEvidence(
        bids=bids,
        times=times,
        estimates=customary_estimates(sales, model),
        waits=None if times is None else kaplan_meier(listings.days, listings.sold, listings.weight),
        slower=None if times is None else log_rank(listings.days, listings.sold, dearer)[1],
    )


def evidence_of(snapshot: Snapshot, progress: Progress = untold) -> SellingEvidence:
    """``selling_evidence`` of a market in memory and its newest fit, made once."""
    return snapshot.by_fit.get(
        "selling", lambda: selling_evidence(snapshot, snapshot.model, progress=progress)
    )


def sell_car(
    market: Evidence,
    model: PriceModel,
    car: Car,
    terms: SellerTerms,
    *,
    evidence: SellingEvidence,
    schedule: Schedule | None = None,
    inspection: InspectionResult | None = None,
    costs: RepairCosts | None = None,
    as_of: date | None = None,
    coverage: float = 0.8,
    own_rates: pl.DataFrame | None = None,
) -> Selling:
    """Facts for the seller of one car; ``channel`` of the car is not used, every channel is looked at.

    Args:
        evidence: ``selling_evidence`` of the same market and model.
        schedule: dated charges whose ``source`` is the channel: premium, commission, entry fee, unsold fee.
        inspection, costs: as in ``buy_car``; the repairs are weighed against what they do to the price.

    Raises:
        DecisionError: the car breaks a rule, or no range can be given.
        MoneyError: no rate for the currency, or a gap in the schedule.
    """
    at = date.fromisoformat(model.facts["last_date"]) if as_of is None else as_of
    conversion = Conversion.at(terms.currency, market.base_currency, at, own_rates)
    valuation = value_car(
        market, model, replace(car, channel=None), as_of=as_of, coverage=coverage, inspection=inspection
    )
    if valuation.reason is not None:
        raise DecisionError(f"no range can be given, and so no proceeds: {valuation.reason}")
    sales = market.sales(as_of=at)
    base = inspected(car, inspection)
    rate = float(Decimal(conversion.units) / Decimal(conversion.base_units))
    own = None if terms.own_value is None else float(terms.own_value)
    channels, asking, ladders = [], {}, {}
    auction: AuctionFacts | None = None
    gaps = model.asking_gaps()
    for channel in CHANNELS:
        there = replace(base, channel=channel)
        price = price_of(model, there, at, inspection)
        sale_terms = SaleTerms.in_force(schedule, channel, at, terms.currency)
        mid = price.mid.item() * rate
        asked: float | None = None
        chance: float | None = None
        weeks: float | None = None
        if channel == "auction":
            if evidence.bids is not None:
                auction = auction_facts(
                    evidence.bids, evidence.estimates, model, there, at, price, rate, sale_terms, terms
                )
                chance = auction.chance
        else:
            gap = asking_gap_of(gaps, sales, there)
            typical = mid if gap is None else mid * gap.factor
            asked = typical if terms.asking is None else float(terms.asking)
            floor = 0.9 * mid if terms.floor is None else float(terms.floor)
            table = chances(evidence.times, channel, mid, sorted({*(mid * s for s in STEPS), asked}))
            asking[channel] = table
            ladders[channel] = ladder(evidence.times, channel, mid, asked, floor)
            here = table.filter(pl.col("asking") == asked).row(0, named=True)
            chance, weeks = here[f"within_{HORIZON}"], here["weeks"]
        channels.append(
            proceeds_on(
                channel, price, rate, sale_terms, terms, asked, chance, weeks, own, auction, conversion
            )
        )
    return Selling(
        valuation=valuation,
        terms=terms,
        conversion=conversion,
        channels=tuple(channels),
        auction=auction,
        asking=asking,
        ladders=ladders,
        waits=evidence.waits,
        slower=evidence.slower,
        times=evidence.times,
        first=worth_doing(model, base, at, costs, terms.papers),
        unknown=_unknown(evidence, terms),
        rates="No schedule of charges is used."
        if schedule is None
        else f"{schedule.name}. {schedule.notice}",
    )


def _unknown(evidence: SellingEvidence, terms: SellerTerms) -> tuple[str, ...]:
    sentences = {
        "The chance of a sale at auction is unknown: the records have too few lots, sold and unsold.": (
            evidence.bids is None
        ),
        "The time to sale is unknown: of too few sold cars do the records say what was asked and when.": (
            evidence.times is None
        ),
        "Customary estimates are unknown: too few sold lots have them on record.": evidence.estimates is None,
        "Without a worth of the car unsold, neither a reserve nor a channel can be called best.": (
            terms.own_value is None
        ),
    }
    return tuple(sentence for sentence, true in sentences.items() if true)
