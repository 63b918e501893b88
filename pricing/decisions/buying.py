"""Buying: from a range to a walk-away price, an opening offer, a bidding table, and the same money
elsewhere."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final, Protocol

import polars as pl

from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import Conversion, said
from pricing.decisions.bidding import bidding_table, hammer_for
from pricing.decisions.car_price import inspected
from pricing.decisions.day_one import DayOneTerms, cost_lines, open_lines
from pricing.decisions.elsewhere import same_money
from pricing.decisions.gap import Gap, asking_gap_of
from pricing.decisions.mending import MendOrBuy, mend_or_buy
from pricing.decisions.plain import plain
from pricing.decisions.questions import buyer_questions
from pricing.decisions.valuation import FittedModel, HasSales, Valuation, valued
from pricing.errors import DecisionError
from pricing.model.distribution import PriceDistribution
from pricing.money.charges import Schedule

CAUTIONS: Final = (
    "A limit from sale records is not advice: the records have not seen this car. Have it inspected by a "
    "licensed workshop before money changes hands.",
    "Duty, tax and registration are for local law: ask the office that levies them before you bid.",
    "A bid is a promise to pay the hammer price with premium and tax; read the conditions of the sale first.",
)


class Pricing(FittedModel, Protocol):
    """What buying asks of a price model: ``pricing.PriceModel``, fitted, is one."""

    def asking_gaps(self) -> pl.DataFrame:
        """How far sales end below asking prices, as ``PriceModel.asking_gaps`` gives it."""


@dataclass(frozen=True)
class BuyerTerms:
    """What the buyer states; amounts in ``currency``, the offer's.

    Args:
        certainty: how sure the buyer wants to be that the car as priced would fetch what it costs, 0 to 1.
        opening: the same for the first offer; halfway from ``certainty`` to 1 when not said.
        step: between bids; customary steps when not said.
    """

    currency: str
    certainty: float
    opening: float | None = None
    transport: Decimal | None = None
    repairs: Decimal | None = None
    step: Decimal | None = None
    import_from: str | None = None
    """Whose duty and tax are due: a ``source`` of the schedule, such as a country; None: nothing is
    imported."""


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


@dataclass(frozen=True)
class Buying:
    """Facts for a buyer. ``valuation`` and ``elsewhere`` are in the market's base currency; the rest is in
    ``currency``, that of the offer, at the rate of ``conversion``.

    Args:
        price_basis: what ``asking`` and the limits are: hammer at an auction, else all-in.
        standing: share of like cars that sell for less than the price asked comes to all-in; None without
        one. gap: asking over sold on this channel; None: not known.
        after_gap: what the price asked usually comes down to, and the standing of that.
        day_one: one row a line at the price asked: ``line``, ``amount`` (null: left empty), ``counted``,
            ``source``; no rows without an asking price.
        bids: see ``bidding_table``; no rows outside auctions. ``bids_back``: see ``hammer_for``.
        open_lines: lines of cost that nothing was said about.
        elsewhere: see ``same_money``, for the all-in amount of the walk-away price.
        better: this car against a better one; None without an inspection.
    """

    valuation: Valuation
    terms: BuyerTerms
    conversion: Conversion
    price_basis: str
    asking: Decimal | None
    asking_all_in: Decimal | None
    standing: float | None
    gap: Gap | None
    after_gap: Decimal | None
    standing_after_gap: float | None
    day_one: pl.DataFrame
    total: Decimal | None
    open_lines: tuple[str, ...]
    walk_away: Limit
    opening: Limit
    bids: pl.DataFrame
    bids_back: pl.DataFrame
    elsewhere: pl.DataFrame
    better: MendOrBuy | None
    questions: tuple[str, ...]
    rates: str
    """Where charges come from, with the notice of example rates."""
    cautions: tuple[str, ...] = field(default=CAUTIONS)

    @property
    def currency(self) -> str:
        """Currency of the offer."""
        return self.conversion.currency

    def to_dict(self) -> dict[str, Any]:
        """The facts as values that JSON can hold."""
        facts: dict[str, Any] = plain({name: value for name, value in vars(self).items() if name != "better"})
        better = None if self.better is None else plain(self.better)
        return facts | {"better": better}


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
        costs: the repairs of that inspection; they are compared with a better car and shown, not counted
            against the limit, for the condition found has them in its price.

    Raises:
        DecisionError: no asking price, a certainty that is none, or no range can be given for the car.
        MoneyError: no rate for the currency, or a gap in the schedule.
    """
    auction = car.channel == "auction"
    if asking is None and not auction:
        raise DecisionError("no asking price: give what is asked for the car; only an auction goes without")
    if asking is not None and not (asking.is_finite() and asking > 0):
        raise DecisionError(f"the asking price must be above nought; got {asking}")
    opening = (1.0 + terms.certainty) / 2.0 if terms.opening is None else terms.opening
    for name, chance in (("certainty", terms.certainty), ("certainty of the opening offer", opening)):
        if not 0.0 < chance < 1.0:
            raise DecisionError(f"the {name} lies strictly between 0 and 1; got {chance}")
    if opening < terms.certainty:
        raise DecisionError(
            f"the opening offer must be at least as sure as the walk-away price "
            f"({terms.certainty}); got {opening}"
        )
    at = date.fromisoformat(model.facts["last_date"]) if as_of is None else as_of
    conversion = Conversion.at(terms.currency, market.base_currency, at, own_rates)
    day_one = _day_one(terms, schedule, at, inspected=inspection is not None, auction=auction)
    asked = None if asking is None else day_one.lines([asking]).row(0, named=True)
    all_in = None if asked is None else conversion.to_base(asked["all_in"])
    valuation, price = valued(
        market, model, car, asking=all_in, as_of=as_of, coverage=coverage, inspection=inspection
    )
    if valuation.reason is not None:
        raise DecisionError(f"no range can be given, and so no limit: {valuation.reason}")
    seen = inspected(car, inspection)
    walk_away = _limit(price, terms.certainty, day_one, conversion)
    first = _limit(price, opening, day_one, conversion, None if auction else asking)
    sales = market.sales(as_of=at)
    gap = None if auction or asking is None else asking_gap_of(model.asking_gaps(), sales, seen)
    after = None if gap is None or asking is None else conversion.to_base(asking) / Decimal(str(gap.factor))
    limit = Decimal(0) if walk_away.price is None else walk_away.price
    budget = day_one.lines([limit])["all_in"][0] if limit > 0 else walk_away.worth
    top = limit if auction else Decimal(0)
    still_open = open_lines(day_one, auction=auction, imported=terms.import_from is not None)
    return Buying(
        valuation=valuation,
        terms=terms,
        conversion=conversion,
        price_basis="hammer" if auction else "all-in",
        asking=asking,
        asking_all_in=None if asked is None else asked["all_in"],
        standing=valuation.standing,
        gap=gap,
        after_gap=None if after is None else conversion.from_base(after),
        standing_after_gap=None if after is None else float(price.cdf([float(after)])[0]),
        day_one=cost_lines(day_one, asking, schedule),
        total=None if asked is None else asked["total"],
        open_lines=still_open,
        walk_away=walk_away,
        opening=first,
        bids=bidding_table(day_one, top, step=terms.step),
        bids_back=hammer_for(day_one.premium, _round_amounts(top, day_one), terms.currency),
        elsewhere=same_money(model, sales, seen, at, conversion.to_base(budget), coverage=coverage),
        better=None if costs is None else mend_or_buy(model, costs, asking=all_in, as_of=at),
        questions=buyer_questions(seen, inspection, still_open),
        rates=_rates(schedule, day_one),
    )


def _day_one(
    terms: BuyerTerms, schedule: Schedule | None, at: date, *, inspected: bool, auction: bool
) -> DayOneTerms:
    """The costs that were stated, with what the schedule says was in force."""

    def charge(source: str | None, kind: str) -> Any:
        if schedule is None or source is None:
            return None
        return schedule.in_force(source, kind, at, terms.currency)

    return DayOneTerms(
        terms.currency,
        premium=charge("auction" if auction else None, "premium"),
        transport=terms.transport,
        duty=charge(terms.import_from, "import duty"),
        tax=charge(terms.import_from, "import tax"),
        repairs=terms.repairs,
        repairs_counted=not inspected,
    )


def _limit(
    price: PriceDistribution,
    certainty: float,
    terms: DayOneTerms,
    conversion: Conversion,
    most: Decimal | None = None,
) -> Limit:
    """The limit at a certainty, never above ``most``."""
    worth = conversion.from_base(Decimal(price.ppf(1.0 - certainty).item()), down=True)
    exact = terms.highest_price(worth)
    if exact is None:
        return Limit(certainty, worth, None, None, None)
    offer = said(exact)
    if most is not None and offer > most:
        exact = offer = most
    return Limit(certainty, worth, exact, offer, conversion.to_base(terms.lines([offer])["all_in"][0]))


def _round_amounts(limit: Decimal, terms: DayOneTerms) -> list[Decimal]:
    """Round all-in amounts on the way to that of the limit, and that one."""
    if limit <= 0:
        return []
    top = terms.lines([limit])["all_in"][0]
    return [said(top * part / 10) for part in (6, 7, 8, 9)] + [top]


def _rates(schedule: Schedule | None, terms: DayOneTerms) -> str:
    used = [charge for charge in (terms.premium, terms.duty, terms.tax) if charge is not None]
    if schedule is None or not used:
        return "No schedule of charges is used."
    days = ", ".join(f"{charge.kind} in force from {charge.valid_from}" for charge in used)
    return f"{schedule.name}: {days}." + (f" {schedule.notice}" if schedule.notice else "")
