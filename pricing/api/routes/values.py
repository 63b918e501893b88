"""What cars are worth."""

import json
from decimal import Decimal
from typing import Annotated, Final

import pydantic_core
from fastapi import APIRouter, Depends
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from pricing.api.car_lists import SHORT_BODY, Cars, read_list
from pricing.api.middleware.callers import Reading
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import (
    Contributions,
    Question,
    Standing,
    StandingQuestion,
    ValuationFacts,
    ValuationQuestion,
    Values,
    Warned,
)
from pricing.api.service import Here, Service, service_of, warned
from pricing.decisions.valuation import BASIS, Valuation, value_car
from pricing.errors import CarError
from pricing.operations.opening import standing_warning
from pricing.snapshot import Snapshot

router = APIRouter(tags=["values"], dependencies=[Reading], responses=responses(404))


async def _listed(request: Request) -> tuple[Question, Cars]:
    """The list, read straight from its JSON: of fifty thousand cars that takes half the time."""
    body, most = await request.body(), service_of(request).configuration.largest_list
    if len(body) <= SHORT_BODY:
        return read_list(body, most)
    return await run_in_threadpool(read_list, body, most)


_LIST: Final = {
    "requestBody": {
        "required": True,
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/ValueQuestion"}}},
    }
}


@router.post("/values", response_model=Values, openapi_extra=_LIST)
async def values(listed: Annotated[tuple[Question, Cars], Depends(_listed)], service: Here) -> Response:
    """Value a list of cars: the range of each, and where its asking price stands.

    A car that cannot be valued is answered in its place, by `refused`; the others are valued all the same.
    """
    question, cars = listed
    rows, key = await service.value(cars, question.as_of, question.coverage, question.fit)
    service.counters.cars.inc(len(cars))
    facts = {
        "currency": key.snapshot.base_currency, "basis": BASIS, "as_of": str(key.at),
        "coverage": question.coverage, "fit": key.fit, "warning": standing_warning(key.snapshot.state),
    }  # fmt: skip
    content = pydantic_core.to_json(facts)[:-1] + f',"values":[{",".join(rows)}]}}'.encode()
    return Response(content, media_type="application/json")


@router.post("/standings", response_model=Standing)
async def standings(question: StandingQuestion, service: Here) -> Response:
    """The share of like cars that would sell for less than what is asked for this one."""
    rows, key = await service.value([question.car], question.as_of, question.coverage, question.fit)
    service.counters.cars.inc()
    value = json.loads(rows[0])
    if value["refused"] is not None:
        raise HttpProblemError(422, value["refused"], code=CarError.code)
    facts = {name: value[name] for name in ("standing", "reason")}
    offer = {"asking": question.car["asking"], "currency": key.snapshot.base_currency, "as_of": key.at}
    return warned(key.snapshot, offer | facts)


@router.post("/valuations", response_model=ValuationFacts)
def valuations(question: ValuationQuestion, service: Here) -> Response:
    """Value one car, with every fact: range, standing, distribution, what makes up the price, the car in
    other condition bands, the sales behind it."""
    return warned(*_valuation(service, question))


@router.post("/contributions", response_model=Contributions)
def contributions(question: ValuationQuestion, service: Here) -> Response:
    """What makes up a car's mid price: factors that multiply to it."""
    snapshot, valuation = _valuation(service, question)
    names = Contributions.model_fields.keys() - Warned.model_fields.keys()
    return warned(snapshot, {name: getattr(valuation, name) for name in names})


def _valuation(service: Service, question: ValuationQuestion) -> tuple[Snapshot, Valuation]:
    snapshot = service.snapshot()
    offered = dict(question.car)
    asking: Decimal | None = offered.pop("asking", None)
    car = snapshot.car(offered, question.as_of)
    model = service.model(snapshot, question.fit)
    service.counters.cars.inc()
    valuation = value_car(
        snapshot, model, car, asking=asking, as_of=question.as_of, coverage=question.coverage
    )
    return snapshot, valuation
