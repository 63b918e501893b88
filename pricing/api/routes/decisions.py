"""Buying and selling: limits, proceeds, and what they rest on."""

from dataclasses import fields
from datetime import date
from typing import Annotated, Any, Final

from fastapi import APIRouter
from pydantic import ConfigDict, Field
from starlette.responses import Response

from pricing.api import schemas
from pricing.api.middleware.callers import Reading
from pricing.api.problems import responses
from pricing.api.routes.condition import InspectionIn, assessed
from pricing.api.schemas import (
    CHARGES_EXAMPLE,
    Amount,
    Cost,
    Country,
    Currency,
    Name,
    OneOf,
    Row,
    ScheduleIn,
    Sent,
    Warned,
)
from pricing.api.service import Here, warned
from pricing.condition.checks import STATES
from pricing.decisions.buy.alternatives import Wanted
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.buy.verdict import VERDICTS
from pricing.decisions.car_price import inspected
from pricing.decisions.mending import mend_or_buy
from pricing.decisions.sell.auction import MOST_BIDDERS
from pricing.decisions.sell.seller_terms import DISCOUNT, MOST_DISCOUNT, SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import evidence_of
from pricing.decisions.sell.what_ifs import PAPERS
from pricing.decisions.simulation import simulate
from pricing.errors import DecisionError
from pricing.operations.settings import repairs_in_force, schedule_in_force, settings_of
from pricing.snapshot import Snapshot
from pricing.vocabulary import CHANNELS, DRIVE_SIDES

BUYING_EXAMPLE: Final[dict[str, Any]] = {
    "car": {**schemas.CAR_EXAMPLE, "channel": "auction"}, "asking": "4200", "certainty": 0.7,
    "transport": "250", "charges": CHARGES_EXAMPLE,
}  # fmt: skip
SELLING_EXAMPLE: Final[dict[str, Any]] = {
    "car": schemas.CAR_EXAMPLE, "own_value": "3000", "reserve": "3800", "charges": CHARGES_EXAMPLE,
}  # fmt: skip

router = APIRouter(tags=["decisions"], dependencies=[Reading], responses=responses(404))

Chance = Annotated[float, Field(ge=0.01, le=0.99)]
Seed = Annotated[int, Field(ge=0, le=2**31, description="Of the simulation: the same seed, the same digits.")]
State = Annotated[str, OneOf(STATES[1:])]


class Terms(Sent):
    """What buyer and seller state alike."""

    car: schemas.Car
    currency: Currency | None = Field(None, description="Of all amounts here; the market's when not given.")
    as_of: schemas.Day | None = None
    coverage: schemas.Coverage = 0.8
    charges: ScheduleIn | None = Field(None, description="Dated charges; without any, lines are left open.")
    kept_charges: bool = Field(
        False, description="Use the charges of the market's settings where none are given here."
    )
    inspection: InspectionIn | None = Field(
        None, description="What was found of the car, in place of a condition that is said."
    )
    quotes: dict[Annotated[str, Field(max_length=100)], Cost] = Field(
        {},
        max_length=200,
        description="What jobs of the repair catalogue were quoted at, tax in, in the market's currency.",
    )
    seed: Seed = 0
    work_in: Country | None = Field(
        None, description="Country of the work, to price the repairs of the inspection; else they are not."
    )


class WantedIn(Sent):
    """What another car must be."""

    body_style: Name | None = None
    drive_side: Annotated[str, OneOf(DRIVE_SIDES)] | None = None
    first_year: Annotated[int, Field(ge=1885, le=2200)] | None = None
    last_year: Annotated[int, Field(ge=1885, le=2200)] | None = None
    country: Country | None = None


class BuyingQuestion(Terms):
    """A car that somebody thinks of buying; its `channel` says where it is offered."""

    model_config = ConfigDict(json_schema_extra={"examples": [BUYING_EXAMPLE]})

    asking: Amount | None = Field(None, description="Price asked; at an auction a hammer price, or nothing.")
    certainty: Chance = Field(description="How sure to be that the car would fetch what it costs.")
    opening: Chance | None = Field(None, description="The same for the first offer; else halfway to 1.")
    transport: Cost | None = None
    repairs: Cost | None = None
    step: Amount | None = Field(None, description="Between bids; customary steps when not given.")
    least: State = Field(
        "needs repair", description="Of an inspected car all is put right that is at least this bad."
    )
    wanted: WantedIn = Field(WantedIn(), description="What other cars that are looked for must be.")
    import_from: Name | None = Field(
        None, description="Source of import duty and tax in the charges; nothing is imported when not given."
    )


class SellingQuestion(Terms):
    """A car that somebody thinks of selling."""

    model_config = ConfigDict(json_schema_extra={"examples": [SELLING_EXAMPLE]})

    own_value: Cost | None = Field(None, description="What keeping it is worth to the seller.")
    reserve: Amount | None = None
    low_estimate: Amount | None = None
    high_estimate: Amount | None = None
    asking: Amount | None = None
    floor: Amount | None = Field(None, description="The least that is taken.")
    bidders: Annotated[int, Field(ge=2, le=MOST_BIDDERS)] | None = Field(
        None, description="Bidders in the room, for a reserve that may raise the price."
    )
    discount: Annotated[float, Field(ge=0, le=MOST_DISCOUNT)] = Field(
        DISCOUNT, description="Share by which money a month later is worth less: how soon it is wanted."
    )
    papers: dict[Annotated[str, OneOf(tuple(name for name, _ in PAPERS))], Cost] = Field(
        {}, description="What each paper that the car lacks would cost to get."
    )


class MendingQuestion(Terms):
    """An inspected car that somebody thinks of mending; amounts in the market's currency."""

    asking: Amount | None = Field(None, description="All-in; its market price when not given.")
    least: State = Field("needs repair", description="All is put right that is at least this bad.")


class MendingFacts(Warned):
    """Mend or buy better; more is told than is named here."""

    model_config = ConfigDict(extra="allow")

    goals: list[Row] = Field(description="Everything that was found, then each higher band.")
    currency: str
    band_now: str
    seen: float = Field(description="Share of what counts that was seen.")
    notice: str
    cautions: list[str]


class BuyingFacts(Warned):
    """Facts for a buyer; more is told than is named here."""

    model_config = ConfigDict(extra="allow")

    valuation: Row
    price_basis: Annotated[str, OneOf(("hammer", "all-in"))]
    standing: float | None
    verdict: Annotated[str, OneOf(VERDICTS)] | None = Field(description="What the price asked is, in a word.")
    total: Row | None = Field(description="All that it comes to until it stands ready: low, mid, high.")
    ready: Row = Field(description="What the same car fetches ready to drive.")
    left: Row | None = Field(description="`ready` less `total`.")
    loses: float | None = Field(description="Share of cases in which the total is more than `ready`.")
    walk_away: Row
    opening: Row
    mended_limit: Row | None
    day_one: list[Row]
    bids: list[Row]
    alternatives: list[Row]
    arguments: list[Row]
    questions: list[str]
    cautions: list[str]


class SellingFacts(Warned):
    """Facts for a seller; more is told than is named here."""

    model_config = ConfigDict(extra="allow")

    valuation: Row
    channels: list[Row] = Field(
        description=f"Sales on each channel ({', '.join(CHANNELS)}), what leaves most first."
    )
    auction: Row
    asking: dict[str, Row]
    first: list[Row] = Field(description="What is worth doing before the sale.")
    unknown: list[str]
    cautions: list[str]


@router.post("/buying", response_model=BuyingFacts)
def buying(question: BuyingQuestion, service: Here) -> Response:
    """A verdict on an asking price, what the car comes to until it stands ready, first offer and walk-away
    price, what to say to the seller, bids, the same money elsewhere. Lines of cost that nothing is said about
    are left open, such as a premium without `charges`.
    """
    snapshot = service.snapshot()
    service.not_before_fit(snapshot, question.as_of)
    stated = _stated(question, BuyerTerms, snapshot) | {"wanted": Wanted(**question.wanted.model_dump())}
    car, limits = snapshot.car(question.car, question.as_of), settings_of(snapshot).verdict_limits
    inputs = _inputs(question, snapshot) | {"asking": question.asking, "limits": limits}
    terms = BuyerTerms(**stated)
    facts = buy_car(snapshot, snapshot.model, car, terms, indexed=snapshot.indexed, **inputs)
    return warned(snapshot, facts.to_dict())


@router.post("/selling", response_model=SellingFacts)
def selling(question: SellingQuestion, service: Here) -> Response:
    """Where to sell, what to ask and expect, reserve and estimate, a ladder of reductions, what to do
    first."""
    snapshot = service.snapshot()
    service.not_before_fit(snapshot, question.as_of)
    terms = SellerTerms(**_stated(question, SellerTerms, snapshot))
    car, evidence = snapshot.car(question.car, question.as_of), evidence_of(snapshot)
    inputs = _inputs(question, snapshot)
    facts = sell_car(snapshot, snapshot.model, car, terms, evidence=evidence, **inputs)
    return warned(snapshot, facts.to_dict())


@router.post("/mending", response_model=MendingFacts)
def mending(question: MendingQuestion, service: Here) -> Response:
    """Mend an inspected car, or buy one that is there already: budgets against prices, for each goal."""
    snapshot = service.snapshot()
    service.not_before_fit(snapshot, question.as_of)
    inputs = _inputs(question, snapshot)
    if inputs["costs"] is None:
        raise DecisionError(
            "mending is reckoned from an inspection, and where the work is to be done (work_in)"
        )
    car = inspected(snapshot.car(question.car, question.as_of), inputs["inspection"])
    at = date.fromisoformat(snapshot.model.facts["last_date"]) if question.as_of is None else question.as_of
    drawn = simulate(snapshot.model, car, at, inspection=inputs["inspection"], seed=question.seed)
    comparison = mend_or_buy(
        drawn, inputs["costs"], asking=question.asking, least=question.least, seed=question.seed
    )
    return warned(snapshot, comparison)


def _stated(question: Terms, terms: type[BuyerTerms | SellerTerms], snapshot: Snapshot) -> dict[str, Any]:
    """What a question states of the fields of terms, in one currency."""
    stated = question.model_dump(include={field.name for field in fields(terms)})
    return stated | {"currency": question.currency or snapshot.base_currency}


def _inputs(question: Terms, snapshot: Snapshot) -> dict[str, Any]:
    """What the questions pass on alike."""
    schedule = schedule_in_force(snapshot) if question.kept_charges else None
    result = None if question.inspection is None else assessed(question.inspection)
    costs = None
    if result is not None and question.work_in is not None:
        costs = repairs_in_force(snapshot, result, question.work_in, question.quotes)
    return {
        "as_of": question.as_of, "coverage": question.coverage, "own_rates": snapshot.state.own_rates,
        "schedule": schedule if question.charges is None else question.charges.schedule(),
        "inspection": result, "costs": costs, "seed": question.seed,
    }  # fmt: skip
