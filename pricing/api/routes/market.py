"""The evidence of a market: comparable sales, price index, depth."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field
from starlette.responses import Response

from pricing.api.middleware.callers import Reading
from pricing.api.problems import responses
from pricing.api.schemas import Car, Coverage, Day, Money, Name, OneOf, Row, Sent, Warned
from pricing.api.service import Here, warned, where
from pricing.decisions.approaches import difference, valued_beside
from pricing.evidence.comparison.comparables import COUNT, find_comparables
from pricing.evidence.depth import market_depth
from pricing.evidence.indices.index import METHODS, MINIMUM, price_index
from pricing.evidence.indices.periods import LENGTHS

router = APIRouter(tags=["evidence"], dependencies=[Reading], responses=responses(404))

Make = Annotated[Name | None, Query(description="Make; without it, the whole market.")]
Model = Annotated[Name | None, Query(description="Model of the make.")]
At = Annotated[Day | None, Query(description="Effective date; without it, the last on record.")]


class ComparablesQuestion(Sent):
    """A car that comparable sales are wanted for."""

    car: Car
    as_of: Day | None = None
    count: int = Field(COUNT, ge=3, le=100, description="Comparables wanted.")
    coverage: Coverage = 0.8


class ComparablesFacts(Warned):
    """Comparable sales, adjusted to the car line by line, and what they come to together."""

    as_of: str
    currency: str
    coverage: float
    table: list[Row] = Field(description="A row a comparable, nearest first; weights add up to 1.")
    lines: list[Row] = Field(description="Every line of adjustment, in per cent and money.")
    offers: list[Row] = Field(description="Asking prices (a ceiling) and highest bids (a floor); no weight.")
    left_out: list[Row]
    low: Money | None
    mid: Money
    high: Money | None
    bracketed: bool = Field(description="Whether some comparables are worth less than the car and some more.")
    kind: str = Field(description="Kind of car whose past sales the range is calibrated on.")
    scores: int = Field(description="Past sales of that kind, each valued from the others, behind the range.")
    reason: str | None = Field(description="Why there is no low and high.")
    difference: Row | None = Field(description="How far from the price model's mid, and what may be why.")


class IndexFacts(Warned):
    """A price index at constant quality: base period 100, with intervals; a gap has a note and no number."""

    method: str
    period: str
    scope: str
    base: str
    coverage: float
    frame: list[Row]


class DepthFacts(Warned):
    """How much is known."""

    scope: str
    model: str | None
    as_of: str
    recent: list[Row]
    sold_share: list[Row]
    sold_by_year: list[Row]
    against: list[Row]
    effective_sales: float | None
    gap: Row
    seasons: Row
    band_premiums: list[Row]


@router.post("/comparables", response_model=ComparablesFacts)
def comparables(question: ComparablesQuestion, service: Here) -> Response:
    """The sales most like a car, each adjusted to it, and their reconciled value."""
    snapshot = service.snapshot()
    service.not_before_fit(snapshot, question.as_of)
    car = snapshot.car(question.car, question.as_of)
    terms = question.model_dump(exclude={"car"})
    sales = find_comparables(snapshot.comparables_index, car, **terms)
    valued = valued_beside(snapshot, snapshot.model, car, sales, question.coverage)
    return warned(snapshot, vars(sales) | {"difference": difference(valued, sales)})


@router.get("/index", response_model=IndexFacts)
def index(
    service: Here,
    make: Make = None,
    model: Model = None,
    method: Annotated[str, OneOf(METHODS), Query()] = "time dummy",
    period: Annotated[str, OneOf(tuple(LENGTHS)), Query()] = "quarter",
    coverage: Annotated[float, Query(ge=0.05, le=0.99, description="Of the interval.")] = 0.95,
    minimum: Annotated[int, Query(ge=2, le=1000, description="Sales that a period needs.")] = MINIMUM,
    as_of: At = None,
) -> Response:
    """How prices moved at constant quality."""
    snapshot = service.snapshot()
    scope = where(snapshot, make, model)
    terms: dict[str, Any] = {"method": method, "period": period, "coverage": coverage, "minimum": minimum}
    return warned(snapshot, price_index(snapshot.sales(as_of), where=scope, **terms))


@router.get("/depth", response_model=DepthFacts)
def depth(service: Here, make: Make = None, model: Model = None, as_of: At = None) -> Response:
    """How much is known: sales, offers, estimates, asking against sold, season, what a better band costs."""
    snapshot = service.snapshot()
    if snapshot.state.fit is not None:
        service.not_before_fit(snapshot, as_of)
    scope, every_record = where(snapshot, make, model), snapshot.sales(as_of, every_record=True)
    fitted = None if snapshot.state.fit is None else snapshot.model
    terms: dict[str, Any] = {"where": scope, "as_of": as_of, "model": fitted, "every_record": every_record}
    return warned(snapshot, market_depth(snapshot.sales(as_of), **terms))
