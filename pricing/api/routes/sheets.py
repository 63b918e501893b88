"""Inspection sheets that are kept beside the market: what a phone without a network needs of one, and the
findings and photographs that it sends when it is back. Whoever knows a sheet's name may; names are random."""

from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Header, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer
from pricing.api.middleware.callers import Reading
from pricing.api.problems import HttpProblemError, responses
from pricing.api.routes.condition import SeenIn, Text
from pricing.api.schemas import Row
from pricing.api.service import Here, Service
from pricing.operations.bundled import EXTENSIONS
from pricing.operations.drafts import (
    LONGEST_KEY,
    MOST_FINDINGS,
    sheet_facts,
    sheet_folder,
    take_findings,
    take_photo,
)
from pricing.operations.serving import shown_market

router = APIRouter(tags=["condition"], dependencies=[Reading], responses=responses(404))

SheetName = Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
Key = Annotated[
    str,
    Header(
        alias="Idempotency-Key",
        min_length=8,
        max_length=LONGEST_KEY,
        pattern=r"^[A-Za-z0-9-]+$",
        description="A word of your own for this piece of work, such as a UUID.",
    ),
]


class KeptSheet(BaseModel):
    """A sheet as a phone goes round with it: areas with a drawing (SVG) and their checks, and what was found
    so far; `short` marks the checks of the round of ten minutes."""

    name: str
    car: str
    cautions: list[str]
    areas: list[Row]


class TakenIn(BaseModel):
    """Whether it was new: what came before under its key changes nothing."""

    new: bool


@router.get("/kept-inspections/{name}", response_model=KeptSheet)
def kept_sheet(name: SheetName, service: Here) -> Response:
    """A kept sheet."""
    return JsonAnswer(sheet_facts(_beside(service, name), name, EXTENSIONS))


@router.post("/kept-inspections/{name}/findings", response_model=TakenIn, status_code=201)
def findings(
    name: SheetName,
    seen: Annotated[list[SeenIn], Body(min_length=1, max_length=MOST_FINDINGS)],
    service: Here,
    key: Key,
) -> Response:
    """Take findings into a kept sheet, once under each key."""
    rows: list[dict[str, Any]] = [one.model_dump(mode="json") for one in seen]
    return JsonAnswer({"new": take_findings(_beside(service, name), name, key, rows, EXTENSIONS)}, 201)


@router.post("/inspection-photos", response_model=TakenIn, status_code=201)
def photos(
    sheet: Annotated[SheetName, Query()],
    check: Annotated[Text, Query(examples=["engine_smoke"])],
    content: Annotated[bytes, Body(media_type="application/octet-stream")],
    service: Here,
    key: Key,
) -> Response:
    """Take a photograph (JPEG, PNG or WebP) of a check into a kept sheet, once under each key."""
    taken = take_photo(_beside(service, sheet), sheet, key, check, content, EXTENSIONS)
    return JsonAnswer({"new": taken}, 201)


def _beside(service: Service, name: str) -> Path:
    """The market that the sheet is kept beside."""
    market = shown_market(service.configuration.market)
    if not (sheet_folder(market, name) / "inspection.json").is_file():
        raise HttpProblemError(404, "there is no inspection sheet under that name any more; start a new one")
    return market
