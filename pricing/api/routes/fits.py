"""Fits of the price model."""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel
from starlette.responses import Response

from pricing.api.answers import JsonAnswer, Page, Paged
from pricing.api.idempotency import Loader
from pricing.api.middleware.callers import Reading
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import Row
from pricing.api.service import Here, Service
from pricing.model.market_fit import fit_market
from pricing.model.saved import save
from pricing.store.market import Market

router = APIRouter(prefix="/fits", tags=["fits"])

FitId = Annotated[str, Path(max_length=40, examples=["fit-0001"])]


class Fit(BaseModel):
    """A kept fit."""

    fit_id: str
    fitted_at: str
    facts: Row


@router.get("", response_model=Page, dependencies=[Reading])
def fits(service: Here, paged: Paged) -> Response:
    """The fits kept, oldest first."""
    return paged.answer(service.snapshot().market.fits())


@router.get("/{fit_id}", response_model=Fit, dependencies=[Reading], responses=responses(404))
def fit(fit_id: FitId, service: Here) -> Response:
    """One fit and its facts."""
    return JsonAnswer(_one(service, fit_id))


@router.post("", response_model=Fit, status_code=201, responses=responses(409))
def make_fit(service: Here, writer: Loader) -> Response:
    """Fit the price model to all sales, calibrate its ranges and keep it; answers when that is done.

    With an `Idempotency-Key` a caller that lost the connection asks again: 409 while it is being done, then
    the fit.
    """

    def work(market: Market) -> dict[str, str]:
        return {"fit_id": save(fit_market(market), market)}

    market = service.snapshot().market
    return writer.once(market, ("fit",), work, lambda made: _one(service, made["fit_id"]))


def _one(service: Service, fit_id: str) -> dict[str, Any]:
    rows = service.snapshot().market.fits().filter(fit_id=fit_id).to_dicts()
    if not rows:
        raise HttpProblemError(404, f"there is no fit {fit_id!r} in the market")
    (row,) = rows
    return row | {"facts": json.loads(row["facts"])}
