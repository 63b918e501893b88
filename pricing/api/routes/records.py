"""Sale records: loads, what became of their rows, and taking a load back."""

from contextlib import ExitStack
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Query, UploadFile
from pydantic import BaseModel, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer, Page, Paged
from pricing.api.idempotency import Loader
from pricing.api.middleware.callers import Reading
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import Name, Row
from pricing.api.service import Here, where
from pricing.intake.transfers import received
from pricing.store.market import Market

router = APIRouter(tags=["records"], responses=responses(404))


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
    writer: Loader,
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
) -> Response:
    """Load files of sale records as one batch: all of them or, after any error, none.

    Rows that break a rule go to quarantine; rows that are known change nothing, so that asking again is
    harmless.
    """
    if len(files) > MOST_FILES:
        raise HttpProblemError(422, f"a load has up to {MOST_FILES} files; got {len(files)}")
    contents = [(file.filename or "", file.file.read()) for file in files]

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

    parts = [part for content in contents for part in content]
    request = ("load", str(dry_run), *(["believe"] if believe else []), mapping or "", *parts)
    return writer.once(Market.open(service.configuration.market), request, work)


@router.get("/batches", response_model=Page, dependencies=[Reading])
def batches(service: Here, paged: Paged) -> Response:
    """Every load, oldest first, with what it read, accepted, rejected and knew already."""
    return paged.answer(service.snapshot().market.batches())


@router.get("/batches/{batch_id}", response_model=Batch, dependencies=[Reading])
def batch(batch_id: str, service: Here) -> Response:
    """One load and its report."""
    return JsonAnswer(_batch(service.snapshot().market, batch_id))


@router.delete("/batches/{batch_id}", response_model=Undone, responses=responses(409))
def undo(batch_id: str, service: Here, writer: Loader) -> Response:
    """Take a load back: its records, quarantined rows and links go; the load stays listed."""
    market = service.snapshot().market

    def work(market: Market) -> dict[str, Any]:
        return {"batch_id": _batch(market, batch_id)["batch_id"], "records": market.undo(batch_id)}

    return writer.once(market, ("undo", batch_id), work, status=200)


@router.get("/quarantine", response_model=Page, dependencies=[Reading])
def quarantine(
    service: Here,
    paged: Paged,
    batch_id: Annotated[str | None, Query(max_length=40, description="Of this load alone.")] = None,
) -> Response:
    """Rejected rows that wait to be mended: where each came from, the rules it broke, its cells as JSON."""
    rows = service.snapshot().market.quarantine()
    return paged.answer(rows if batch_id is None else rows.filter(batch_id=batch_id))


@router.get("/records", response_model=Page, dependencies=[Reading])
def records(
    service: Here,
    paged: Paged,
    make: Annotated[Name | None, Query(description="Capitals do not matter.")] = None,
    model: Annotated[Name | None, Query()] = None,
) -> Response:
    """Sales, offers and asking prices, oldest first, with their all-in prices in the market's base
    currency."""
    snapshot = service.snapshot()
    return paged.answer(snapshot.sales().filter(**where(snapshot, make, model)))


def _batch(market: Market, batch_id: str) -> dict[str, Any]:
    for batch in market.batches().filter(batch_id=batch_id).iter_rows(named=True):
        return batch
    raise HttpProblemError(404, f"the market has no batch {batch_id[:40]!r}")
