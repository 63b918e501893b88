"""Photographs of written appraisals: sent, given other words, taken out, handed out as they came. Each change
is a revision, which keeps the evidence."""

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, File, Form, Path, Query, UploadFile
from pydantic import BaseModel, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer
from pricing.api.idempotency import Writer
from pricing.api.problems import HttpProblemError, responses
from pricing.api.routes.appraisals import AppraisalId, Appraiser, EntryFacts, Own, another_revision, own_entry
from pricing.api.schemas import Row, Sent
from pricing.api.service import Here
from pricing.appraisal import register
from pricing.appraisal.record.photographs import (
    LONGEST_CAPTION,
    MOST,
    Photographs,
    with_added,
    with_changes,
    without,
)
from pricing.appraisal.register import Entry
from pricing.operations.appraisal_photographs import photograph_facts
from pricing.store.market import Market
from pricing.untrusted.photographs import MEDIA, SUFFIXES, ReadPhotograph, read_photograph

router = APIRouter(
    prefix="/appraisals/{appraisal_id}/photographs", tags=["appraisals"], responses=responses(404)
)

Digest = Annotated[str, Path(pattern="^[0-9a-f]{64}$", description="SHA-256 of the original.")]
After = Annotated[
    int,
    Query(ge=1, le=1_000_000, description="The revision that this changes; 409 if there is a later one."),
]


class PhotographsOf(BaseModel):
    """The photographs of one revision of an appraisal, in order."""

    appraisal_id: str
    revision: int
    photographs: list[Row] = Field(
        description="`number`, `file`, `digest`, `caption`, `check` (of the inspection sheet), `cover`, "
        "`taken_on` (by the camera's clock), `removed` (what the file tells beside the picture and what is "
        "shown does not), `kind`, `width`, `height`, `size`."
    )


class PhotographWords(Sent):
    """Other words for a photograph; what is left out stays as it is."""

    caption: str | None = Field(None, max_length=LONGEST_CAPTION)
    check: str | None = Field(None, max_length=100, examples=["gearbox_leaks"])
    cover: bool | None = None
    place: int | None = Field(None, ge=1, le=MOST, description="The number that it is to have.")
    after: int = Field(
        ge=1, le=1_000_000, description="The revision that this changes; 409 if there is a later one."
    )


@router.get("", response_model=PhotographsOf)
def photographs(own: Own) -> Response:
    """The photographs of a revision of an appraisal."""
    market, entry = own
    shots = photograph_facts(market, entry.record)
    return JsonAnswer({"appraisal_id": entry.appraisal_id, "revision": entry.revision, "photographs": shots})


@router.post(
    "",
    response_model=EntryFacts,
    status_code=201,
    responses=responses(409),
)
def add(
    appraisal_id: AppraisalId,
    service: Here,
    writer: Appraiser,
    after: After,
    photograph: Annotated[UploadFile, File(description="JPEG or PNG, at most 15,000,000 bytes.")],
    caption: Annotated[str, Form(max_length=LONGEST_CAPTION)] = "",
    check: Annotated[str, Form(max_length=100)] = "",
    cover: Annotated[bool, Form()] = False,
) -> Response:
    """Add a photograph: the place and whatever else the camera wrote is left out of what is shown; the
    original is kept as it came."""
    content, file = photograph.file.read(), photograph.filename or ""
    own_entry(service.snapshot().market, writer.caller, appraisal_id, None)
    read = read_photograph(content, "the photograph")

    def add(market: Market, before: Entry) -> int:
        shots = with_added(
            before.record.photographs, read, file, caption=caption, check=check, cover=cover or None,
            chassis=register.taken_in_for(market, read.digest, before.record.subject.chassis_number),
        )  # fmt: skip
        return _revised(market, before, shots, writer, "a photograph added", read)

    request = ("add photograph", appraisal_id, file, caption, check, str(cover), str(after), content)
    return another_revision(service, writer, appraisal_id, after, request, add, status=201)


@router.get(
    "/{digest}",
    response_class=Response,
    responses={200: {"content": {media: {"schema": {"type": "string"}} for media in sorted(MEDIA.values())}}},
)
def original(
    own: Own,
    digest: Digest,
    shown: Annotated[
        bool, Query(description="What is shown of it, upright and without its place, as JPEG.")
    ] = False,
) -> Response:
    """The original of a photograph, byte for byte, with the place and all else that the camera wrote."""
    market, entry = own
    number = _number(entry, digest)
    kind = "JPEG" if shown else market.photographs.described([digest]).item(0, "kind")
    name = f"{entry.appraisal_id}-{number:02d}{SUFFIXES[kind]}"
    return Response(
        entry.shown[digest] if shown else market.photographs.original(digest),
        media_type=MEDIA[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@router.patch("/{digest}", response_model=EntryFacts, responses=responses(409))
def change(
    appraisal_id: AppraisalId, digest: Digest, body: PhotographWords, service: Here, writer: Appraiser
) -> Response:
    """Give a photograph another caption, finding, place or the cover: a revision."""

    def change(market: Market, before: Entry) -> int:
        changes = body.model_dump(exclude={"after"})
        shots = with_changes(before.record.photographs, _number(before, digest), **changes)
        return _revised(market, before, shots, writer, "a photograph changed")

    request = ("change photograph", appraisal_id, digest, body.model_dump_json())
    return another_revision(service, writer, appraisal_id, body.after, request, change)


@router.delete("/{digest}", response_model=EntryFacts, responses=responses(409))
def remove(
    appraisal_id: AppraisalId, digest: Digest, service: Here, writer: Appraiser, after: After
) -> Response:
    """Take a photograph out: a revision; those before keep it."""

    def remove(market: Market, before: Entry) -> int:
        shots = without(before.record.photographs, _number(before, digest))
        return _revised(market, before, shots, writer, "a photograph taken out")

    request = ("remove photograph", appraisal_id, digest, str(after))
    return another_revision(service, writer, appraisal_id, after, request, remove)


def _revised(
    market: Market, before: Entry, shots: Photographs, writer: Writer, reason: str, *read: ReadPhotograph
) -> int:
    """The number of the revision that other photographs make, with the evidence as it was."""
    record = replace(before.record, photographs=shots)
    return register.revise(
        market, before, record, before.evidence, by=writer.caller.name, reason=reason, photographs=read
    )


def _number(entry: Entry, digest: str) -> int:
    for number, shot in enumerate(entry.record.photographs, 1):
        if shot.digest == digest:
            return number
    raise HttpProblemError(404, f"{entry.appraisal_id} has no photograph {digest[:12]}")
