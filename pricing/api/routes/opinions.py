"""What people say of prices: statements, kept apart from sale records, and how good they were."""

import json
from typing import Annotated, Any

import polars as pl
from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer, Page, Paged
from pricing.api.idempotency import Loader
from pricing.api.middleware.callers import Reading
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import Amount, Currency, Day, Name, Row, Word
from pricing.api.service import Here, where
from pricing.decisions.opinions import source_record
from pricing.decisions.plain import plain
from pricing.opinions.statement import TYPES
from pricing.store.market import Market

router = APIRouter(prefix="/opinions", tags=["opinions"])

OpinionId = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[0-9a-f]+$")]
MOST: int = 1_000
"""Statements of one request."""


class Said(BaseModel):
    """One statement: who says on which day, of which cars in which state, that a share of the sales lies
    between two prices. It is no sale and is never counted as one."""

    source: Name = Field(description="Who says it.", examples=["A. Rowe"])
    standing: Word | None = Field(None, description="Who the source is, in own words.")
    stated_on: Day
    make: Name
    model: Name
    variant: Word | None = None
    year_from: Annotated[int, Field(ge=0, le=9999)] | None = None
    year_to: Annotated[int, Field(ge=0, le=9999)] | None = None
    country: Word | None = Field(None, examples=["GB"])
    channel: Word | None = None
    condition_band: Word | None = Field(None, description="Or a score.", examples=["average"])
    condition_score: Annotated[float, Field(ge=0, le=100)] | None = None
    low: Amount | None = Field(None, description="May be left open.")
    middle: Amount | None = Field(None, description="Half of the sales are below it, where it was asked for.")
    high: Amount | None = None
    currency: Currency
    price_basis: Word = Field(examples=["all-in"])
    holds: Word = Field(description="half, eight in ten, or nearly all.", examples=["eight in ten"])


class Kept(BaseModel):
    """What became of statements."""

    read: int
    kept: int
    known: int = Field(description="Statements that the market had already.")
    ids: list[str]


class Withdrawal(BaseModel):
    """Why a statement goes."""

    reason: Name


class Withdrawn(BaseModel):
    """A statement that counts no more, and is kept."""

    opinion_id: str


class Scores(BaseModel):
    """How good each source was against later sales."""

    sources: list[Row]


@router.get("", response_model=Page, dependencies=[Reading], responses=responses(404))
def opinions(
    service: Here,
    paged: Paged,
    make: Annotated[Name | None, Query(description="Capitals do not matter.")] = None,
    model: Annotated[Name | None, Query()] = None,
    every: Annotated[bool, Query(description="Those withdrawn too.")] = False,
) -> Response:
    """What people say, oldest first, with the all-in prices it comes to in the market's base currency."""
    snapshot = service.snapshot()
    statements = snapshot.market.statements.read(every=True) if every else snapshot.opinions()
    return paged.answer(statements.filter(**where(snapshot, make, model)))


@router.post("", response_model=Kept, status_code=201, responses=responses(409))
def say(
    statements: Annotated[list[Said], Field(min_length=1, max_length=MOST)],
    service: Here,
    writer: Loader,
    meant: Annotated[bool, Query(description="A better state is meant to fetch less.")] = False,
) -> Response:
    """Keep statements, all or none. The same said again is known and changes nothing; a better state that
    fetches less is asked again, unless it is `meant`."""
    rows: list[dict[str, Any]] = [part.model_dump() for part in statements]
    texts = [{name: None if row[name] is None else str(row[name]) for name in TYPES} for row in rows]
    cells = pl.DataFrame(texts, schema=dict.fromkeys(TYPES, pl.String))

    def work(market: Market) -> dict[str, Any]:
        kept: dict[str, Any] = plain(market.statements.add(cells, meant=meant))
        return kept

    request = ("opinions", str(meant), json.dumps(texts))
    return writer.once(Market.open(service.configuration.market), request, work)


@router.post("/{opinion_id}/withdrawal", response_model=Withdrawn, responses=responses(404, 409))
def withdraw(opinion_id: OpinionId, why: Withdrawal, service: Here, writer: Loader) -> Response:
    """Withdraw a statement: it is kept, and counts no more."""
    market = service.snapshot().market

    def work(market: Market) -> dict[str, str]:
        known = market.opinions()["opinion_id"].str.starts_with(opinion_id).sum()
        if known != 1:
            raise HttpProblemError(
                404, f"{known} statements in force have a name that starts with {opinion_id!r}"
            )
        return {"opinion_id": market.statements.withdraw(opinion_id, why.reason)}

    return writer.once(market, ("withdraw opinion", opinion_id, why.reason), work, status=200)


@router.get("/scores", response_model=Scores, dependencies=[Reading])
def scores(service: Here) -> Response:
    """How often sales fell where each source said, how wide it was, bias, calibration and information (Cooke
    1991), and pinball loss beside the price model's on the same sales."""
    sources = source_record(service.snapshot()).sources
    return JsonAnswer({"sources": sources.with_columns(pl.col(pl.Float64).fill_nan(None))})
