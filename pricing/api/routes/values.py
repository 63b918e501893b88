"""What cars are worth."""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Any, Final

import pydantic_core
from fastapi import APIRouter, Depends
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from pricing.api.gates.callers import caller_who_may
from pricing.api.list_reader import SHORT_BODY, Cars, read_list
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import (
    Contributions,
    Question,
    Standing,
    StandingQuestion,
    ValuationFacts,
    ValuationQuestion,
    Values,
)
from pricing.api.service import Service, service_here, service_of, warned
from pricing.decisions.valuation import BASIS, Valuation, value_car
from pricing.errors import CarError
from pricing.operations.opening import standing_warning
from pricing.snapshot import Snapshot

router = APIRouter(tags=["values"], dependencies=[Depends(caller_who_may("read"))], responses=responses(404))

Here = Annotated[Service, Depends(service_here)]


async def _listed(request: Request) -> tuple[Question, Cars]:
    """The list, read straight from its JSON: of fifty thousand cars that takes half the time."""
    body, most = await request.body(), service_of(request).configuration.largest_list
    return (
        read_list(body, most) if len(body) <= SHORT_BODY else await run_in_threadpool(read_list, body, most)
    )


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
    found = json.loads(rows[0])
    if found["refused"] is not None:
        raise HttpProblemError(422, found["refused"], code=CarError.code)
    return warned(
        key.snapshot,
        {
            "asking": question.car["asking"], "currency": key.snapshot.base_currency, "as_of": key.at,
            "standing": found["standing"], "reason": found["reason"],
        },
    )  # fmt: skip


@router.post("/valuations", response_model=ValuationFacts)
def valuations(question: ValuationQuestion, service: Here) -> Response:
    """Value one car, with every fact: range, standing, distribution, what makes up the price, the car in
    other condition bands, the sales behind it."""
    return warned(*_valuation(service, question, question.car))


@router.post("/contributions", response_model=Contributions)
def contributions(question: ValuationQuestion, service: Here) -> Response:
    """What makes up a car's mid price: factors that multiply to it."""
    snapshot, found = _valuation(service, question, question.car)
    return warned(
        snapshot,
        {
            "currency": found.currency, "as_of": found.as_of, "mid": found.mid, "reason": found.reason,
            "terms": found.terms,
        },
    )  # fmt: skip


def _valuation(service: Service, question: Question, asked: Mapping[str, Any]) -> tuple[Snapshot, Valuation]:
    snapshot = service.snapshot()
    said = dict(asked)
    asking: Decimal | None = said.pop("asking", None)
    car = snapshot.car(said, question.as_of)
    model = service.model(snapshot, question.fit)
    service.counters.cars.inc()
    valuation = value_car(
        snapshot, model, car, asking=asking, as_of=question.as_of, coverage=question.coverage
    )
    return snapshot, valuation
