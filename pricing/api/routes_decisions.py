"""Buying and selling: limits, proceeds, and what they rest on."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from pricing.api.answers import Answer
from pricing.api.callers import caller_who_may
from pricing.api.problems import responses
from pricing.api.routes_condition import InspectionIn, assessed
from pricing.api.schedules import CHARGES_EXAMPLE, ScheduleIn
from pricing.api.schemas import (
    CAR_EXAMPLE,
    Amount,
    Car,
    Cost,
    Coverage,
    Currency,
    Day,
    Money,
    Name,
    Row,
)
from pricing.api.service import Service, service_here
from pricing.api.words import OneOf
from pricing.condition.repairs import price_repairs
from pricing.decisions.buying import BuyerTerms, buy_car
from pricing.decisions.first_jobs import PAPERS
from pricing.decisions.seller_terms import SellerTerms
from pricing.decisions.selling import evidence_of, sell_car
from pricing.operations.settings import catalogue_in_force, schedule_in_force
from pricing.records.contract import COUNTRIES
from pricing.snapshot import Snapshot
from pricing.vocabulary import CHANNELS

BUYING_EXAMPLE: Final[dict[str, Any]] = {
    "car": {**CAR_EXAMPLE, "channel": "auction"}, "asking": "4200", "certainty": 0.7, "transport": "250",
    "charges": CHARGES_EXAMPLE,
}  # fmt: skip
BUYER_STATES: Final = {"certainty", "opening", "transport", "repairs", "step", "import_from"}
SELLER_STATES: Final = {
    "own_value", "reserve", "low_estimate", "high_estimate", "asking", "floor", "bidders", "papers",
}  # fmt: skip
SELLING_EXAMPLE: Final[dict[str, Any]] = {
    "car": CAR_EXAMPLE, "own_value": "3000", "reserve": "3800", "charges": CHARGES_EXAMPLE,
}  # fmt: skip

router = APIRouter(
    tags=["decisions"], dependencies=[Depends(caller_who_may("read"))], responses=responses(404)
)

Here = Annotated[Service, Depends(service_here)]
Chance = Annotated[float, Field(ge=0.01, le=0.99)]


class Terms(BaseModel):
    """What buyer and seller state alike."""

    model_config = ConfigDict(extra="forbid")

    car: Car
    currency: Currency | None = Field(None, description="Of all amounts here; the market's when not given.")
    as_of: Day | None = None
    coverage: Coverage = 0.8
    charges: ScheduleIn | None = Field(None, description="Dated charges; without any, lines are left open.")
    kept_charges: bool = Field(
        False, description="Use the charges of the market's settings where none are given here."
    )
    inspection: InspectionIn | None = Field(
        None, description="What was found of the car, in place of a condition that is said."
    )
    work_in: Annotated[str, OneOf(tuple(sorted(COUNTRIES)))] | None = Field(
        None, description="Country of the work, to price the repairs of the inspection; else they are not."
    )


class BuyingQuestion(Terms):
    """A car that somebody thinks of buying; its `channel` says where it is offered."""

    model_config = ConfigDict(json_schema_extra={"examples": [BUYING_EXAMPLE]})

    asking: Amount | None = Field(None, description="Price asked; at an auction a hammer price, or nothing.")
    certainty: Chance = Field(description="How sure to be that the car would fetch what it costs.")
    opening: Chance | None = Field(None, description="The same for the first offer; else halfway to 1.")
    transport: Cost | None = None
    repairs: Cost | None = None
    step: Amount | None = Field(None, description="Between bids; customary steps when not given.")
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
    bidders: Annotated[int, Field(ge=1, le=1000)] | None = Field(
        None, description="Bidders in the room, for a reserve that may raise the price."
    )
    papers: dict[Annotated[str, OneOf(tuple(name for name, _ in PAPERS))], Cost] = Field(
        {}, description="What each paper that the car lacks would cost to get."
    )


class BuyingFacts(BaseModel):
    """Facts for a buyer; more is told than is named here."""

    model_config = ConfigDict(extra="allow")

    valuation: Row
    price_basis: Annotated[str, OneOf(("hammer", "all-in"))]
    standing: float | None
    total: Money | None = Field(description="Day-one cost at the price asked.")
    walk_away: Row
    opening: Row
    day_one: list[Row]
    bids: list[Row]
    elsewhere: list[Row]
    questions: list[str]
    cautions: list[str]


class SellingFacts(BaseModel):
    """Facts for a seller; more is told than is named here."""

    model_config = ConfigDict(extra="allow")

    valuation: Row
    channels: list[Row] = Field(description=f"Proceeds by channel: {', '.join(CHANNELS)}.")
    auction: Row | None
    first: list[Row] = Field(description="What is worth doing before the sale.")
    unknown: list[str]
    cautions: list[str]


@router.post("/buying", response_model=BuyingFacts)
def buying(question: BuyingQuestion, service: Here) -> Response:
    """Where an asking price stands, day-one cost, walk-away price and first offer, bids, the same money
    elsewhere. Lines of cost that nothing is said about are left open, such as a premium without `charges`.
    """
    snapshot = service.snapshot()
    service.not_before_fit(snapshot, question.as_of)
    terms = BuyerTerms(
        currency=snapshot.base_currency if question.currency is None else question.currency,
        **question.model_dump(include=BUYER_STATES),
    )
    facts = buy_car(
        snapshot,
        snapshot.model,
        snapshot.car(question.car, question.as_of),
        terms,
        asking=question.asking,
        **_asked(question, snapshot),
    )
    return Answer(facts.to_dict())


@router.post("/selling", response_model=SellingFacts)
def selling(question: SellingQuestion, service: Here) -> Response:
    """Net proceeds by channel, reserve and estimate, asking price and a ladder of reductions, what to do
    first."""
    snapshot = service.snapshot()
    service.not_before_fit(snapshot, question.as_of)
    terms = SellerTerms(
        currency=snapshot.base_currency if question.currency is None else question.currency,
        **question.model_dump(include=SELLER_STATES),
    )
    facts = sell_car(
        snapshot,
        snapshot.model,
        snapshot.car(question.car, question.as_of),
        terms,
        evidence=evidence_of(snapshot),
        **_asked(question, snapshot),
    )
    return Answer(facts.to_dict())


def _asked(question: Terms, snapshot: Snapshot) -> dict[str, Any]:
    """What both questions pass on alike."""
    schedule = schedule_in_force(snapshot) if question.kept_charges else None
    result = None if question.inspection is None else assessed(question.inspection)
    costs = None
    if result is not None and question.work_in is not None:
        costs = price_repairs(
            result, catalogue_in_force(snapshot), country=question.work_in, currency=snapshot.base_currency
        )
    return {
        "as_of": question.as_of, "coverage": question.coverage, "own_rates": snapshot.state.own_rates,
        "schedule": schedule if question.charges is None else question.charges.schedule(),
        "inspection": result, "costs": costs,
    }  # fmt: skip
