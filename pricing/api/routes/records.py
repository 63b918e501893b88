"""Sale records: loads, what became of their rows, and taking a load back."""

from contextlib import ExitStack
from dataclasses import asdict
from typing import Annotated, Any

import polars as pl
from fastapi import APIRouter, Depends, File, Form, Query, UploadFile
from pydantic import BaseModel, Field
from starlette.requests import Request
from starlette.responses import Response

from pricing.api.answers import Answer
from pricing.api.gates.callers import Caller, caller_who_may
from pricing.api.idempotency import Key, idempotently
from pricing.api.pages import Limit, Page, Start, page
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import Name, Row
from pricing.api.service import Service, service_here, where
from pricing.intake.transfers import received
from pricing.store.market import Market

router = APIRouter(tags=["records"], responses=responses(404))
reading = [Depends(caller_who_may("read"))]

Here = Annotated[Service, Depends(service_here)]
Loader = Annotated[Caller, Depends(caller_who_may("load"))]

MOST_FILES = 50
MAPPING_NAME = "mapping.toml"


class LoadFacts(BaseModel):
    """What became of every row of a load: `read` is `accepted` + `rejected` + `known`."""

    read: int
    accepted: int
    rejected: int = Field(description="Rows in quarantine, each with the names of the rules it broke.")
    known: int = Field(description="Rows that the market had already.")
    batch_id: str | None = Field(examples=["batch-0001"], description="Null when nothing changed.")
    by_rule: dict[str, int] = Field(examples=[{"amount_not_positive": 2}])
    files: list[Row]
    linked: int = Field(description="Links found between records of one sale.")
    not_known: dict[str, int] = Field(
        examples=[{"odometer_km": 3}],
        description="Cells that could not be read and went to the notes, by column.",
    )
    said_otherwise: dict[str, int] = Field(
        examples=[{"currency SEK": 1}],
        description="What cells said themselves in place of what was stated for their column.",
    )
    unseen: dict[str, int] = Field(
        examples=[{"make": 1}],
        description="Cells that held characters which show nothing and were kept without them, by column.",
    )
    set_aside: dict[str, int] = Field(
        examples=[{"total": 1}], description="Rows of the files that are no records, by kind."
    )
    recognised: dict[str, str] = Field(
        description="Files read by the mapping kept of an earlier file of a source, and that source."
    )
    doubts: list[str] = Field(description="Why figures can hardly be what they are said to be.")
    waiting: int = Field(description="Rows of `known` that wait in quarantine already.")


class Batch(BaseModel):
    """A load."""

    batch_id: str
    loaded_at: str
    files: list[str]
    read: int
    accepted: int
    rejected: int
    known: int
    undone_at: str | None


class Undone(BaseModel):
    """A load taken back."""

    batch_id: str
    records: int = Field(description="Records that went with it.")


@router.post("/batches", response_model=LoadFacts, status_code=201, responses=responses(409))
def load(
    service: Here,
    caller: Loader,
    files: Annotated[
        list[UploadFile], File(description="csv, tsv, xlsx, parquet, jsonl or saved html pages.")
    ],
    mapping: Annotated[
        str | None, Form(max_length=200_000, description="Which column is which, as TOML; see `pricing map`.")
    ] = None,
    dry_run: Annotated[bool, Query(description="Say what would happen, and change nothing.")] = False,
    believe: Annotated[
        bool, Query(description="Load figures that can hardly be what they are said to be all the same.")
    ] = False,
    key: Key = None,
) -> Response:
    """Load files of sale records as one batch: all of them or, after any error, none.

    Rows that break a rule go to quarantine; rows that are known change nothing, so that asking again is
    harmless.
    """
    if len(files) > MOST_FILES:
        raise HttpProblemError(422, f"a load has up to {MOST_FILES} files; got {len(files)}")
    contents = [(_name(file), file.file.read()) for file in files]
    given = "" if mapping is None else mapping

    def work(market: Market) -> dict[str, Any]:
        with ExitStack() as stack:
            paths = [stack.enter_context(received(name, content)) for name, content in contents]
            written = None
            if mapping is not None and paths:
                written = paths[0].with_name(MAPPING_NAME)
                written.write_text(mapping, encoding="utf-8")
            report = market.load(paths, mapping=written, dry_run=dry_run, believe=believe)
        service.counters.rows.inc(report.read)
        return asdict(report)

    request = (
        "load",
        str(dry_run),
        *(["believe"] if believe else []),
        given,
        *(part for content in contents for part in content),
    )
    return idempotently(Market.open(service.configuration.market), caller, key, request, work)


@router.get("/batches", response_model=Page, dependencies=reading)
def batches(request: Request, service: Here, start: Start = 0, limit: Limit = 100) -> Response:
    """Every load, oldest first, with what it read, accepted, rejected and knew already."""
    return Answer(page(request, service.snapshot().market.batches(), start, limit))


@router.get("/batches/{batch_id}", response_model=Batch, dependencies=reading)
def batch(batch_id: str, service: Here) -> Response:
    """One load and its report."""
    return Answer(_batch(service.snapshot().market, batch_id))


@router.delete("/batches/{batch_id}", response_model=Undone, responses=responses(409))
def undo(batch_id: str, service: Here, caller: Loader, key: Key = None) -> Response:
    """Take a load back: its records, quarantined rows and links go; the load stays listed."""
    market = service.snapshot().market
    if key is None:
        _batch(market, batch_id)
    return idempotently(
        market, caller, key, ("undo", batch_id),
        lambda market: {"batch_id": _batch(market, batch_id)["batch_id"], "records": market.undo(batch_id)},
        status=200,
    )  # fmt: skip


@router.get("/quarantine", response_model=Page, dependencies=reading)
def quarantine(
    request: Request,
    service: Here,
    batch_id: Annotated[str | None, Query(max_length=40, description="Of this load alone.")] = None,
    start: Start = 0,
    limit: Limit = 100,
) -> Response:
    """Rejected rows that wait to be mended: where each came from, the rules it broke, its cells as JSON."""
    rows = service.snapshot().market.quarantine()
    return Answer(
        page(request, rows if batch_id is None else rows.filter(pl.col("batch_id") == batch_id), start, limit)
    )


@router.get("/records", response_model=Page, dependencies=reading)
def records(
    request: Request,
    service: Here,
    make: Annotated[Name | None, Query(description="Capitals do not matter.")] = None,
    model: Annotated[Name | None, Query()] = None,
    start: Start = 0,
    limit: Limit = 100,
) -> Response:
    """Sales, offers and asking prices, oldest first, with their all-in prices in the market's base
    currency."""
    snapshot = service.snapshot()
    return Answer(page(request, snapshot.sales().filter(**where(snapshot, make, model)), start, limit))


def _batch(market: Market, batch_id: str) -> dict[str, Any]:
    found = market.batches().filter(pl.col("batch_id") == batch_id)
    if found.is_empty():
        raise HttpProblemError(404, f"the market has no batch {batch_id[:40]!r}")
    return found.row(0, named=True)


def _name(file: UploadFile) -> str:
    return "" if file.filename is None else file.filename
