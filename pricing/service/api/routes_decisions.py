"""Buying and selling: limits, proceeds, and what they rest on."""

from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from pricing.decisions.buying import BuyerTerms, buy_car
from pricing.decisions.seller_terms import SellerTerms
from pricing.decisions.selling import sell_car
from pricing.service.api.answers import Answer
from pricing.service.api.callers import caller_who_may
from pricing.service.api.held import View
from pricing.service.api.problems import responses
from pricing.service.api.schemas import Amount, Car, Coverage, Day, Money, Row
from pricing.service.api.service import Service, service_here
from pricing.service.api.words import OneOf
from pricing.store_rates import own_rates_of
from pricing.vocabulary import CHANNELS

router = APIRouter(
    tags=["decisions"], dependencies=[Depends(caller_who_may("read"))], responses=responses(404)
)

Here = Annotated[Service, Depends(service_here)]
Currency = Annotated[str, Field(pattern="^[A-Z]{3}$", examples=["GBP"])]
Chance = Annotated[float, Field(ge=0.01, le=0.99)]
Cost = Annotated[Decimal, Field(ge=0, le=10**9, max_digits=15, decimal_places=3)]


class Terms(BaseModel):
    """What buyer and seller state alike."""

    model_config = ConfigDict(extra="forbid")

    car: Car
    currency: Currency | None = Field(None, description="Of all amounts here; the market's when not given.")
    as_of: Day | None = None
    coverage: Coverage = 0.8


class BuyingQuestion(Terms):
    """A car that somebody thinks of buying; its `channel` says where it is offered."""

    asking: Amount | None = Field(None, description="Price asked; at an auction a hammer price, or nothing.")
    certainty: Chance = Field(description="How sure to be that the car would fetch what it costs.")
    opening: Chance | None = Field(None, description="The same for the first offer; else halfway to 1.")
    transport: Cost | None = None
    repairs: Cost | None = None
    step: Amount | None = Field(None, description="Between bids; customary steps when not given.")


class SellingQuestion(Terms):
    """A car that somebody thinks of selling."""

    own_value: Cost | None = Field(None, description="What keeping it is worth to the seller.")
    reserve: Amount | None = None
    low_estimate: Amount | None = None
    high_estimate: Amount | None = None
    asking: Amount | None = None
    floor: Amount | None = Field(None, description="The least that is taken.")


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
    elsewhere. Lines of cost that need a schedule of charges are left open.
    """
    view = service.view()
    service.not_before_fit(view, question.as_of)
    terms = BuyerTerms(
        currency=view.base_currency if question.currency is None else question.currency,
        **question.model_dump(include={"certainty", "opening", "transport", "repairs", "step"}),
    )
    facts = buy_car(
        view, view.model, dict(question.car), terms, asking=question.asking, **_asked(question, view)
    )
    return Answer(facts.to_dict())


@router.post("/selling", response_model=SellingFacts)
def selling(question: SellingQuestion, service: Here) -> Response:
    """Net proceeds by channel, reserve and estimate, asking price and a ladder of reductions, what to do
    first."""
    view = service.view()
    service.not_before_fit(view, question.as_of)
    terms = SellerTerms(
        currency=view.base_currency if question.currency is None else question.currency,
        **question.model_dump(
            include={"own_value", "reserve", "low_estimate", "high_estimate", "asking", "floor"}
        ),
    )
    facts = sell_car(
        view.market, view.model, dict(question.car), terms, evidence=view.selling, **_asked(question, view)
    )
    return Answer(facts.to_dict())


def _asked(question: Terms, view: View) -> dict[str, Any]:
    return {
        "as_of": question.as_of, "coverage": question.coverage, "own_rates": own_rates_of(view.market.path),
    }  # fmt: skip
