"""Whether the server lives, whether it can answer, and what it counts; and what market it is about."""

from datetime import UTC, datetime
from pathlib import Path

from fastapi import APIRouter
from pydantic import BaseModel, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer, Page, Paged
from pricing.api.middleware.callers import Reading
from pricing.api.middleware.counters import ages_text
from pricing.api.problems import responses
from pricing.api.schemas import Warned
from pricing.api.service import Here, warned
from pricing.operations.doctor import ages

server_router = APIRouter(tags=["server"])
router = APIRouter(tags=["market"], dependencies=[Reading])


class Health(BaseModel):
    """That the process answers."""

    status: str = Field(examples=["alive"])


class Ready(BaseModel):
    """That questions can be answered."""

    status: str = Field(examples=["ready"])
    fit: str = Field(examples=["fit-0001"])


class MarketFacts(Warned):
    """A market."""

    base_currency: str = Field(description="Every price is in it (ISO 4217).", examples=["EUR"])
    batches: int = Field(description="Loads that stand.")
    records: int = Field(description="Records that stand in front: sales, offers, asking prices.")
    fit: str | None = Field(description="The newest fit.")
    stale: bool = Field(description="Whether records have changed since that fit.")


@server_router.get("/health", response_model=Health)
async def health() -> Response:
    """Whether the process lives; asks nothing of the market."""
    return JsonAnswer({"status": "alive"})


@server_router.get("/ready", response_model=Ready, responses=responses(503))
def ready(service: Here) -> Response:
    """Whether the market can be read and has a fitted model, now in memory."""
    snapshot = service.snapshot()
    fit = service.fit_of(snapshot, None)
    snapshot.fit(fit)
    return JsonAnswer({"status": "ready", "fit": fit})


@server_router.get(
    "/metrics",
    dependencies=[Reading],
    response_class=Response,
    responses={
        200: {"content": {"text/plain": {"schema": {"type": "string"}}}},
        **responses(401, 403, 429, 503),
    },
)
def metrics(service: Here) -> Response:
    """Counts of this server, and how old backup, fit and rates are, in Prometheus's text form."""
    folder = service.configuration.backups
    seconds = ages(service.snapshot().market, Path(folder) if folder else None, datetime.now(UTC))
    text = service.counters.text() + ages_text(seconds)
    return Response(text, media_type="text/plain; version=0.0.4; charset=utf-8")


@router.get("/market", response_model=MarketFacts)
def market(service: Here) -> Response:
    """The market that this server answers about."""
    snapshot = service.snapshot()
    state = snapshot.state
    facts = {name: getattr(state, name) for name in ("batches", "fit", "stale")}
    records = snapshot.sales().height
    return warned(snapshot, facts | {"base_currency": snapshot.base_currency, "records": records})


@router.get("/models", response_model=Page)
def models(service: Here, paged: Paged) -> Response:
    """Every make, model and variant on record, with its number of sales."""
    return paged.answer(service.snapshot().counts)
