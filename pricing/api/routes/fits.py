"""Fits of the price model."""

import json
from typing import Annotated, Any

import polars as pl
from fastapi import APIRouter, Depends, Path
from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

from pricing.api.answers import Answer
from pricing.api.gates.callers import Caller, caller_who_may
from pricing.api.idempotency import Key, idempotently
from pricing.api.pages import Limit, Page, Start, page
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import Row
from pricing.api.service import Service, service_here
from pricing.model.market_fit import fit_market
from pricing.model.saved import save
from pricing.store.market import Market

router = APIRouter(tags=["fits"])

Here = Annotated[Service, Depends(service_here)]
FitId = Annotated[str, Path(max_length=40, examples=["fit-0001"])]


class Fit(BaseModel):
    """A kept fit."""

    fit_id: str
    fitted_at: str
    facts: Row


@router.get("/fits", response_model=Page, dependencies=[Depends(caller_who_may("read"))])
def fits(request: Request, service: Here, start: Start = 0, limit: Limit = 100) -> Response:
    """The fits kept, oldest first."""
    return Answer(page(request, _listed(service), start, limit))


@router.get(
    "/fits/{fit_id}", response_model=Fit, dependencies=[Depends(caller_who_may("read"))],
    responses=responses(404),
)  # fmt: skip
def fit(fit_id: FitId, service: Here) -> Response:
    """One fit and its facts."""
    return Answer(_one(service, fit_id))


@router.post("/fits", response_model=Fit, status_code=201, responses=responses(409))
def make_fit(
    service: Here, caller: Annotated[Caller, Depends(caller_who_may("load"))], key: Key = None
) -> Response:
    """Fit the price model to all sales, calibrate its ranges and keep it; answers when that is done.

    With an `Idempotency-Key` a caller that lost the connection asks again: 409 while it is being done, then
    the fit.
    """

    def work(market: Market) -> dict[str, str]:
        model = fit_market(market)
        return {"fit_id": save(model, market)}

    market = service.snapshot().market
    return idempotently(market, caller, key, ("fit",), work, lambda made: _one(service, made["fit_id"]))


def _listed(service: Service) -> pl.DataFrame:
    return service.snapshot().market.fits()


def _one(service: Service, fit_id: str) -> dict[str, Any]:
    found = _listed(service).filter(pl.col("fit_id") == fit_id)
    if found.is_empty():
        raise HttpProblemError(404, f"there is no fit {fit_id!r} in the market")
    row = found.row(0, named=True)
    return row | {"facts": json.loads(row["facts"])}
