"""Buying: a verdict on the price asked, what the car comes to until it stands ready, what to offer and where
to stop, what to say to the seller, and what else the money buys. Every figure is read from one simulation."""

from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.condition.checks import STATES
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import Conversion, Range, quantiles, three_figures, whole_units
from pricing.decisions.approaches import Difference, difference
from pricing.decisions.buy.alternatives import Wanted, alternatives
from pricing.decisions.buy.arguments import Argument, arguments, buyer_questions
from pricing.decisions.buy.day_one import DayOneTerms, bidding_table, cost_lines, hammer_for, open_lines
from pricing.decisions.buy.verdict import LIMITS, checked_limits, verdict_of
from pricing.decisions.car_price import inspected
from pricing.decisions.gap import Gap, Pricing, asking_gap_of
from pricing.decisions.mending import MendOrBuy, mend_or_buy
from pricing.decisions.plain import PlainFacts
from pricing.decisions.simulation import CarDraws, simulate
from pricing.decisions.valuation import HasSales, Valuation, valued
from pricing.errors import DecisionError, EvidenceError
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.money.charges import Charge, Schedule
from pricing.records.entered_amounts import entered
from pricing.vocabulary import CONDITION_BANDS

CAUTIONS: Final = (
    "A limit from sale records is not advice: the records have not seen this car. Have it inspected by a "
    "licensed workshop before money changes hands.",
    "Duty, tax and registration are for local law: ask the office that levies them before you bid.",
    "A bid is a promise to pay the hammer price with premium and tax; read the conditions of the sale first.",
)

READY: Final = "average"
"""The condition band from which a car that nobody inspected counts as ready to drive."""

BELOW_READY: Final = CONDITION_BANDS[: CONDITION_BANDS.index(READY)]


@dataclass(frozen=True)
class BuyerTerms:
    """What the buyer states; amounts in ``currency``, the offer's.

    Args:
        certainty: how sure the buyer wants to be that the car as priced would fetch what it costs, 0 to 1.
        opening: the same for the first offer; halfway from ``certainty`` to 1 when not said.
        repairs: what it needs spent at once, where no inspection says it.
        step: between bids; customary steps when not said.
        import_from: whose duty and tax are due: a ``source`` of the schedule, such as a country; None:
            nothing is imported.
        least: of an inspected car all is to be put right that is at least in this state.
        wanted: what another car must be.

    Raises:
        MoneyError: an amount cannot be meant.
    """

    currency: str
    certainty: float
    opening: float | None = None
    transport: Decimal | None = None
    repairs: Decimal | None = None
    step: Decimal | None = None
    import_from: str | None = None
    least: str = "needs repair"
    wanted: Wanted = field(default_factory=Wanted)

    def __post_init__(self) -> None:
        """Refuse amounts that cannot be meant, and a state that is none."""
        entered("transport", self.transport, self.currency, cost=True)
        entered("first repairs", self.repairs, self.currency, cost=True)
        entered("step between bids", self.step, self.currency, cost=True)
        if self.least not in STATES[1:]:
            raise DecisionError(f"unknown state {self.least!r}: expected one of {', '.join(STATES[1:])}")


@dataclass(frozen=True)
class Limit:
    """The highest price at one certainty: ``price`` in the offer's currency on ``price_basis``, in three
    figures and never rounded up (None: even as a gift it costs more); ``exact`` to the smallest unit;
    ``worth`` is what the car fetches with that certainty, in the same currency, all-in; ``all_in_base`` what
    ``price`` comes to all-in in the market's base currency."""

    certainty: float
    worth: Decimal
    exact: Decimal | None
    price: Decimal | None
    all_in_base: Decimal | None


@dataclass(frozen=True, eq=False)
class BuyingDraws:
    """Amounts of each draw, in the offer's currency: what the car fetches as it stands (``worth``), its
    ``repairs``, the ``total`` (None without a price), and what the same car fetches ``ready`` to drive."""

    worth: Floats
    repairs: Floats
    total: Floats | None
    ready: Floats


@dataclass(frozen=True)
class Buying(PlainFacts):
    """Facts for a buyer. ``valuation`` and ``alternatives`` are in the market's base currency; the rest is in
    ``currency``, that of the offer, at the rate of ``conversion``.

    Args:
        price_basis: what ``asking`` and the limits are: hammer at an auction, else all-in.
        standing: share of like cars that sell for less than the price asked comes to all-in; None without
            one. ``verdict``: what that is in a word, by ``limits``.
        gap: asking over sold on this channel; None: not known.
        after_gap: what the price asked usually comes down to, and the standing of that.
        day_one: one row a line at the price asked: ``line``, ``low``, ``mid``, ``high`` (equal where it is
            known, null where it is left empty), ``counted`` (against the limit), ``source``; no rows without
            an asking price.
        repairs: what putting right what was found costs, quotes and what was not seen in it; None: nothing
            was said.
        total: everything until it stands ready; ``ready`` what the same car fetches then; ``left`` the one
            less the other; ``loses`` the share of draws in which the total is more. The last two are None
            where the car needs work and nothing is known of what it costs.
        bids: see ``bidding_table``; no rows outside auctions. ``bids_back``: see ``hammer_for``.
        open_lines: lines of cost that nothing was said about.
        walk_away, opening: limits for the car as it stands; ``mended_limit`` the highest price at which the
            total stays within what the car fetches ready; None without repairs.
        alternatives: see ``alternatives``: at the price asked, at the total, and one band up.
        better: this car against a better one; None without priced repairs.
        arguments: what to say to the seller.
        approaches: how far comparable sales and the price model are apart; None where that was not asked.
    """

    valuation: Valuation
    terms: BuyerTerms
    conversion: Conversion
    price_basis: str
    asking: Decimal | None
    asking_all_in: Decimal | None
    standing: float | None
    verdict: str | None
    limits: tuple[float, ...]
    gap: Gap | None
    after_gap: Decimal | None
    standing_after_gap: float | None
    day_one: pl.DataFrame
    repairs: Range | None
    total: Range | None
    ready: Range
    left: Range | None
    loses: float | None
    open_lines: tuple[str, ...]
    walk_away: Limit
    opening: Limit
    mended_limit: Limit | None
    bids: pl.DataFrame
    bids_back: pl.DataFrame
    alternatives: pl.DataFrame
    better: MendOrBuy | None
    arguments: tuple[Argument, ...]
    approaches: Difference | None
    questions: tuple[str, ...]
    rates: str
    """Where charges come from, with the notice of example rates."""
    seed: int
    draws: BuyingDraws = field(repr=False, compare=False)
    cautions: tuple[str, ...] = field(default=CAUTIONS)

    @property
    def currency(self) -> str:
        """Currency of the offer."""
        return self.conversion.currency


def buy_car(
    market: HasSales,
    model: Pricing,
    car: Car,
    terms: BuyerTerms,
    *,
    asking: Decimal | None,
    schedule: Schedule | None = None,
    inspection: InspectionResult | None = None,
    costs: RepairCosts | None = None,
    as_of: date | None = None,
    coverage: float = 0.8,
    own_rates: pl.DataFrame | None = None,
    limits: tuple[float, ...] = LIMITS,
    indexed: ComparablesIndex | None = None,
    seed: int = 0,
) -> Buying:
    """Facts for the buyer of one car.

    Args:
        market, model, car, as_of, coverage: as in ``value_car``; ``channel`` says where the car is offered.
        terms: what the buyer states.
        asking: the price asked, in the offer's currency (at an auction a hammer price, such as the low
            estimate); may be None at an auction only.
        schedule: dated charges; the premium is the one of ``source`` "auction", duty and tax those of
            ``terms.import_from``.
        inspection: what was found of the car, in place of a condition that is said.
        costs: the repairs of that inspection, with the buyer's quotes; they make the total, and are not
            counted against the limit, for the condition found has them in its price.
        limits: of the verdict; see ``verdict``.
        indexed: the market's sales laid out, to hold comparable sales against the price model.
        seed: of the simulation.

    Raises:
        DecisionError: no asking price, a certainty that is none, or no range can be given for the car.
        MoneyError: an amount cannot be meant, no rate for the currency, or a gap in the schedule.
    """
    auction = car.channel == "auction"
    checked_limits(limits)
    if asking is None and not auction:
        raise DecisionError("no asking price: give what is asked for the car; only an auction goes without")
    entered("asking price", asking, terms.currency)
    if costs is not None and terms.repairs is not None:
        raise DecisionError("repairs were said and found by an inspection: give one of the two")
    opening = _opening(terms)
    at = date.fromisoformat(model.facts["last_date"]) if as_of is None else as_of
    conversion = Conversion.at(terms.currency, market.base_currency, at, own_rates)

    def charge(source: str | None, kind: str) -> Charge | None:
        """What the schedule says was in force."""
        if schedule is None or source is None:
            return None
        return schedule.in_force(source, kind, at, terms.currency)

    day_one = DayOneTerms(
        terms.currency,
        premium=charge("auction" if auction else None, "premium"),
        transport=terms.transport,
        duty=charge(terms.import_from, "import duty"),
        tax=charge(terms.import_from, "import tax"),
        repairs=terms.repairs,
        repairs_counted=inspection is None,
    )
    paid = None if asking is None else day_one.lines([asking]).row(0, named=True)
    all_in = None if paid is None else conversion.to_base(paid["all_in"])
    valuation, price = valued(
        market, model, car, asking=all_in, as_of=as_of, coverage=coverage, inspection=inspection
    )
    if valuation.reason is not None:
        raise DecisionError(f"no range can be given, and so no limit: {valuation.reason}")
    seen = inspected(car, inspection)
    drawn = simulate(model, seen, at, law=price, inspection=inspection, seed=seed)
    draws = _draws(model, drawn, costs, terms, float(conversion.rate), paid)

    def limit(worth: Floats, certainty: float, most: Decimal | None = None) -> Limit:
        return _limit(worth, certainty, day_one, conversion, most)

    def spread(amounts: Floats | None, *, known: bool) -> Range | None:
        return Range.of(amounts, terms.currency) if known and amounts is not None else None

    band = seen.condition_band
    ready = inspection is None and band is not None and band not in BELOW_READY
    priced = costs is not None or terms.repairs is not None
    left = None if draws.total is None or not (priced or ready) else draws.ready - draws.total
    walk_away = limit(draws.worth, terms.certainty)
    sales = market.sales(as_of=at)
    gap = None if auction or asking is None else asking_gap_of(model.asking_gaps(), sales, seen)
    after = None if gap is None or asking is None else conversion.to_base(asking) / Decimal(str(gap.factor))
    after_gap = None if after is None else conversion.from_base(after)
    top = Decimal(0) if not auction or walk_away.price is None else walk_away.price
    still_open = open_lines(
        day_one, auction=auction, imported=terms.import_from is not None, repairs_known=priced or ready
    )
    total, repairs = spread(draws.total, known=True), spread(draws.repairs, known=priced)
    rates = "No schedule of charges is used."
    if schedule is not None and day_one.charges:
        days = ", ".join(f"{kind} in force from {due.valid_from}" for kind, due in day_one.charges.items())
        rates = f"{schedule.name}: {days}." + (f" {schedule.notice}" if schedule.notice else "")
    approaches = None
    if indexed is not None:
        with suppress(EvidenceError):  # too few sales are comparable
            approaches = difference(valuation, find_comparables(indexed, seen, as_of=as_of))
    of_inspection = repairs if costs is not None else None
    return Buying(
        valuation=valuation,
        terms=terms,
        conversion=conversion,
        price_basis="hammer" if auction else "all-in",
        asking=asking,
        asking_all_in=None if paid is None else paid["all_in"],
        standing=valuation.standing,
        verdict=None if valuation.standing is None else verdict_of(valuation.standing, limits),
        limits=limits,
        gap=gap,
        after_gap=after_gap,
        standing_after_gap=None if after is None else float(price.cdf([float(after)])[0]),
        day_one=cost_lines(day_one, asking, schedule, of_inspection),
        repairs=repairs,
        total=total,
        ready=Range.of(draws.ready, terms.currency),
        left=spread(left, known=True),
        loses=None if left is None else float((left < 0.0).mean()),
        open_lines=still_open,
        walk_away=walk_away,
        opening=limit(draws.worth, opening, None if auction else asking),
        mended_limit=None if costs is None else limit(draws.ready - draws.repairs, terms.certainty),
        bids=bidding_table(day_one, top, step=terms.step),
        bids_back=hammer_for(day_one.premium, _round_amounts(top, day_one), terms.currency),
        alternatives=alternatives(
            model, sales, seen, at, _budgets(valuation, seen, all_in, total, conversion), terms.wanted,
            coverage=coverage,
        ),
        better=None
        if costs is None
        else mend_or_buy(drawn, costs, asking=all_in, least=terms.least, seed=seed),
        arguments=arguments(
            sales, seen, at, all_in, market.base_currency, gap=gap, after_gap=after_gap,
            repairs=of_inspection, seen=None if inspection is None else inspection.inspection.seen_share,
            currency=terms.currency,
        ),
        approaches=approaches,
        questions=buyer_questions(seen, inspection, still_open),
        rates=rates,
        seed=seed,
        draws=draws,
    )  # fmt: skip


def _opening(terms: BuyerTerms) -> float:
    """The certainty of the first offer; raises where a certainty is none."""
    opening = (1.0 + terms.certainty) / 2.0 if terms.opening is None else terms.opening
    for name, chance in (("certainty", terms.certainty), ("certainty of the opening offer", opening)):
        if not 0.0 < chance < 1.0:
            raise DecisionError(f"the {name} lies strictly between 0 and 1; got {chance}")
    if opening < terms.certainty:
        raise DecisionError(
            f"the opening offer must be at least as sure as the walk-away price "
            f"({terms.certainty}); got {opening}"
        )
    return opening


def _draws(
    model: Pricing,
    drawn: CarDraws,
    costs: RepairCosts | None,
    terms: BuyerTerms,
    rate: float,
    paid: dict[str, Any] | None,
) -> BuyingDraws:
    """What the simulation says of this purchase, in the offer's currency."""
    spent = np.zeros(len(drawn.price))
    ready = drawn.price
    if drawn.inspection is not None:
        mask = drawn.inspection.states >= STATES.index(terms.least)
        ready = drawn.mended(mask)
        spent = spent if costs is None else costs.total(mask) * rate
    elif terms.repairs is None and drawn.car.condition_band in BELOW_READY:
        ready = drawn.in_band(model, READY)
    total = None if paid is None else float(paid["total"]) + spent
    if terms.repairs is not None:
        spent = spent + float(whole_units(terms.repairs, terms.currency))
    return BuyingDraws(drawn.price * rate, spent, total, ready * rate)


def _budgets(
    valuation: Valuation, car: Car, all_in: Decimal | None, total: Range | None, conversion: Conversion
) -> dict[str, Decimal]:
    """The money that other cars are looked for with, in the market's base currency."""
    budgets = {}
    if all_in is not None:
        budgets["the price asked"] = all_in
    if total is not None and conversion.to_base(total.mid) != all_in:
        budgets["the total with repairs"] = conversion.to_base(total.mid)
    band = car.condition_band
    place = len(CONDITION_BANDS) if band is None else CONDITION_BANDS.index(band) + 1
    if place < len(CONDITION_BANDS):
        above = valuation.bands.row(place, named=True)
        if above["mid"] is not None:
            budgets["this car one band up"] = whole_units(Decimal(repr(above["mid"])), conversion.base)
    return budgets


def _limit(
    worth_draws: Floats,
    certainty: float,
    terms: DayOneTerms,
    conversion: Conversion,
    most: Decimal | None = None,
) -> Limit:
    """The highest price that stays within what the car is worth with that certainty, never above ``most``."""
    limit = Decimal(repr(float(quantiles(worth_draws, 1.0 - certainty))))
    worth = whole_units(max(limit, Decimal(0)), terms.currency, down=True)
    exact = terms.highest_price(worth) if limit >= 0 else None
    if exact is None:
        return Limit(certainty, worth, None, None, None)
    offer = three_figures(exact)
    if most is not None and offer > most:
        exact = offer = most
    return Limit(certainty, worth, exact, offer, conversion.to_base(terms.lines([offer])["all_in"][0]))


def _round_amounts(limit: Decimal, terms: DayOneTerms) -> list[Decimal]:
    """Round all-in amounts on the way to that of the limit, and that one."""
    if limit <= 0:
        return []
    top = terms.lines([limit])["all_in"][0]
    return [three_figures(top * part / 10) for part in (6, 7, 8, 9)] + [top]
