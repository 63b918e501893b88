"""Selling: where to sell a car, what to ask, what is left of it, and what is worth doing first."""

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final

import polars as pl

from pricing.arrays import Floats
from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import Conversion
from pricing.decisions.car_price import inspected
from pricing.decisions.gap import Pricing, asking_gap_of
from pricing.decisions.plain import PlainFacts
from pricing.decisions.sell.asking_plan import AskingPlan, asking_plan
from pricing.decisions.sell.auction import AuctionFacts, auction_facts
from pricing.decisions.sell.channel_sale import ChannelSale, summed_up
from pricing.decisions.sell.seller_terms import SaleTerms, SellerTerms
from pricing.decisions.sell.selling_evidence import SLOWER, SellingEvidence
from pricing.decisions.sell.time_to_sale import TimeToSale
from pricing.decisions.sell.what_ifs import what_ifs
from pricing.decisions.simulation import CarDraws, simulate
from pricing.decisions.valuation import HasSales, Valuation, value_car
from pricing.errors import DecisionError
from pricing.money.charges import Schedule
from pricing.vocabulary import CHANNELS

CAUTIONS: Final = (
    "Expected proceeds from sale records are not advice, and no promise: the records have not seen this car.",
    "Commission, fees and tax on a sale are for the contract and for local law: read both before you sign.",
    "Tell a buyer of every fault you know of; what must be told is for local law.",
)


@dataclass(frozen=True)
class Selling(PlainFacts):
    """Facts for a seller; amounts in the currency of ``terms``, but for ``valuation``, which is in the
    market's base currency. Every figure is read from one simulation, by ``seed``.

    Args:
        channels: ``ChannelSale`` of each channel, what leaves most first.
        auction: see ``AuctionFacts``.
        asking: by channel (dealer, private), see ``AskingPlan``.
        waits, slower, times, bargained, pairs: see ``SellingEvidence``.
        first: see ``what_ifs``, for the channel that leaves most.
        unknown: what the records do not say, in sentences.
    """

    valuation: Valuation
    terms: SellerTerms
    conversion: Conversion
    channels: tuple[ChannelSale, ...]
    auction: AuctionFacts
    asking: dict[str, AskingPlan]
    waits: pl.DataFrame | None
    slower: float | None
    times: TimeToSale | None
    bargained: float
    pairs: int
    first: pl.DataFrame
    unknown: tuple[str, ...]
    rates: str
    seed: int
    inspection: InspectionResult | None = field(repr=False)
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def currency(self) -> str:
        """Currency of the seller's amounts."""
        return self.conversion.currency

    @property
    def price_tells(self) -> bool:
        """Whether the records show that cars asked dearer sell at another pace."""
        return self.slower is not None and self.slower <= SLOWER

    @property
    def best(self) -> ChannelSale:
        """The channel that leaves most."""
        return self.channels[0]


def sell_car(
    market: HasSales,
    model: Pricing,
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
    seed: int = 0,
) -> Selling:
    """Facts for the seller of one car; ``channel`` of the car is not used, every channel is looked at.

    Args:
        evidence: ``selling_evidence`` of the same market and model.
        schedule: dated charges whose ``source`` is the channel: premium, commission, entry fee, unsold fee.
        inspection, costs: as in ``buy_car``; the repairs are weighed against what a sale then leaves.
        seed: of the simulation.

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
    base = inspected(car, inspection)
    rate = float(conversion.rate)
    sales, gaps = market.sales(as_of=at), model.asking_gaps()
    drawn: dict[str, CarDraws] = {}
    charged: dict[str, SaleTerms] = {}
    asking: dict[str, AskingPlan] = {}
    channels: list[ChannelSale] = []
    for channel in CHANNELS:
        draws = simulate(model, replace(base, channel=channel), at, inspection=inspection, seed=seed)
        charges = SaleTerms.in_force(schedule, channel, at, terms.currency)
        drawn[channel], charged[channel] = draws, charges
        value, mid = draws.price * rate, draws.law.mid.item() * rate
        if channel == "auction":
            auction = auction_facts(value, mid, draws.levels.top, evidence.auction, charges, terms)
            sale, first, known = auction.draws, None, evidence.auction.tells
        else:
            gap = asking_gap_of(gaps, sales, draws.car)
            factor = None if gap is None else gap.factor
            plan = asking_plan(channel, value, mid, draws.levels.wait, factor, evidence, charges, terms)
            asking[channel] = plan
            sale, first, known = plan.draws, plan.asking, evidence.times is not None
        channels.append(summed_up(channel, sale, charges, known=known, asking=first))
    channels.sort(key=lambda sale: -sale.left)
    best = channels[0].channel

    def net(price: Floats) -> Floats:
        return charged[best].charged(charged[best].hammer(price * rate)).net

    unknown = {
        "The chance of a sale at auction is unknown: the records have too few lots, sold and unsold.": (
            not evidence.auction.tells
        ),
        "The time to sale is unknown, and so is the chance of a sale by a day: of too few sold cars do the "
        "records say what was asked and when.": evidence.times is None,
        "Customary estimates are unknown: too few sold lots have them on record.": (
            evidence.auction.estimates is None
        ),
    }
    return Selling(
        valuation=valuation,
        terms=terms,
        conversion=conversion,
        channels=tuple(channels),
        auction=auction,
        asking=asking,
        waits=evidence.waits,
        slower=evidence.slower,
        times=evidence.times,
        bargained=evidence.bargained,
        pairs=evidence.pairs,
        first=what_ifs(model, drawn[best], net, rate, costs, terms.papers, evidence.compared),
        unknown=tuple(sentence for sentence, is_unknown in unknown.items() if is_unknown),
        rates="No schedule of charges is used."
        if schedule is None
        else f"{schedule.name}. {schedule.notice}",
        seed=seed,
        inspection=inspection,
    )
