"""Written appraisals: records, their revisions, their documents. Each belongs to whoever entered it."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Annotated, Any, Final

import polars as pl
from fastapi import APIRouter, Depends, Path, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer, Page, Paged
from pricing.api.idempotency import Writer, writer_who_may
from pricing.api.middleware.callers import Caller, caller_who_may
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import OneOf, Row, Sent
from pricing.api.service import Here, Service
from pricing.appraisal import register
from pricing.appraisal.completion import complete as complete_appraisal
from pricing.appraisal.contents import missing
from pricing.appraisal.facts import facts_of, finished
from pricing.appraisal.record.record import Appraisal, plain_record, read_record, with_answer
from pricing.appraisal.register import Entry
from pricing.operations.appraisal_files import evidence_for, revised, revision_facts
from pricing.reports.formats.docx import docx
from pricing.reports.formats.pdf import pdf
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.short import statement
from pricing.store.market import Market
from pricing.words.language.locale import LocaleWords

PAGES: Final = {"report": report, "statement": statement, "letter": letter}
WRITERS: Final = {
    "pdf": (pdf, "application/pdf"),
    "docx": (docx, "application/vnd.openxmlformats-officedocument.wordprocessingml.document"),
}
DOCUMENTS: Final = tuple(f"{name}.{kind}" for name in PAGES for kind in WRITERS)

router = APIRouter(prefix="/appraisals", tags=["appraisals"], responses=responses(404))

Valuer = Annotated[Caller, Depends(caller_who_may("appraise"))]
Appraiser = Annotated[Writer, writer_who_may("appraise")]
AppraisalId = Annotated[str, Path(max_length=40, examples=["appraisal-0001"])]
Revision = Annotated[int | None, Query(ge=1, le=1_000_000, description="The last one when not given.")]


class RecordIn(Sent):
    """An appraisal record, by sections, as the form of `pricing appraise new --blank` has them."""

    record: dict[str, Any] = Field(
        examples=[
            {"assignment": {"kind": "appraisal", "client": "A. Client"}, "subject": {"make": "Wexcombe"}}
        ]
    )
    reason: str = Field("entered", min_length=1, max_length=500)


class Answers(Sent):
    """Fields to be changed, as `section.field`, and why."""

    answers: dict[str, Annotated[str, Field(max_length=20_000)]] = Field(
        min_length=1, max_length=200, examples=[{"opinion.figure": "4600"}]
    )
    after: int = Field(
        ge=1, le=1_000_000, description="The revision that these change; 409 if there is a later one."
    )
    reason: str = Field("edited", min_length=1, max_length=500)


class Completion(Sent):
    """A valuer's completion: every point of the certification answered, under the valuer's own name."""

    name: str = Field(min_length=1, max_length=200, description="The valuer's, as the record has it.")
    certification: dict[str, Annotated[str, Field(max_length=2_000)]] = Field(
        min_length=1, max_length=20, examples=[{"facts": "confirmed"}]
    )
    after: int = Field(
        ge=1, le=1_000_000, description="The revision that is completed; 409 if there is a later one."
    )


class EntryFacts(BaseModel):
    """One revision of an appraisal."""

    appraisal_id: str
    revision: int
    made_at: str
    made_by: str
    reason: str
    completed: bool
    evidence_digest: str | None
    missing: list[Row] = Field(description="What it lacks before it can be completed.")
    contradictions: list[Row] = Field(description="The rules that it breaks, and what mends each.")
    record: Row


def own_entry(market: Market, caller: Caller, appraisal_id: str, revision: int | None) -> Entry:
    """An appraisal that the caller entered, or any for whoever manages the market; another's is not there."""
    maker = market.appraisals.first_makers().get(appraisal_id)
    if maker is None or not (maker == caller.name or caller.may("manage")):
        raise HttpProblemError(404, f"there is no appraisal {appraisal_id!r}")
    last = register.read(market, appraisal_id)
    if revision is None or revision == last.revision:
        return last
    if revision > last.revision:
        raise HttpProblemError(404, f"{appraisal_id} has no revision {revision}; its last is {last.revision}")
    return register.read(market, appraisal_id, revision)


def _own(
    appraisal_id: AppraisalId, service: Here, caller: Valuer, revision: Revision = None
) -> tuple[Market, Entry]:
    market = service.snapshot().market
    return market, own_entry(market, caller, appraisal_id, revision)


Own = Annotated[tuple[Market, Entry], Depends(_own)]


@router.get("", response_model=Page)
def appraisals(service: Here, caller: Valuer, paged: Paged) -> Response:
    """The last revision of every appraisal of one's own; of all of them for whoever manages the market."""
    market = service.snapshot().market
    entries = register.listed(market)
    if not caller.may("manage"):
        own = [name for name, maker in market.appraisals.first_makers().items() if maker == caller.name]
        entries = entries.filter(pl.col("appraisal_id").is_in(own))
    return paged.answer(entries)


@router.post("", response_model=EntryFacts, status_code=201, responses=responses(409))
def enter(body: RecordIn, service: Here, writer: Appraiser) -> Response:
    """Enter an appraisal, and freeze the evidence for it."""
    market = service.snapshot().market

    def work(market: Market) -> dict[str, Any]:
        record = _without_photographs(_without_files(read_record(body.record)))
        drafts = [(record, evidence_for(market.path, record))]
        (name,) = register.enter(market, drafts, by=writer.caller.name, reason=body.reason)
        return {"appraisal_id": name, "revision": 1}

    request = ("enter", body.model_dump_json())
    return writer.once(market, request, work, lambda made: _made(market, made))


@router.get("/{appraisal_id}", response_model=EntryFacts)
def appraisal(own: Own) -> Response:
    """A revision of an appraisal, and what it still lacks."""
    _, entry = own
    return JsonAnswer(_facts(entry))


@router.patch("/{appraisal_id}", response_model=EntryFacts, responses=responses(409))
def change(appraisal_id: AppraisalId, body: Answers, service: Here, writer: Appraiser) -> Response:
    """Change fields: another revision, which keeps the one before; its evidence is gathered anew where the
    change asks for other evidence."""

    def change(market: Market, before: Entry) -> int:
        record = before.record
        for field, text in body.answers.items():
            record = with_answer(record, field, text)
        return revised(market, before, _without_files(record), by=writer.caller.name, reason=body.reason)

    request = ("change", appraisal_id, body.model_dump_json())
    return another_revision(service, writer, appraisal_id, body.after, request, change)


@router.post("/{appraisal_id}/completion", response_model=EntryFacts, responses=responses(409))
def complete(appraisal_id: AppraisalId, body: Completion, service: Here, writer: Appraiser) -> Response:
    """Complete an appraisal as its valuer: a revision of a record that lacks and contradicts nothing."""

    def complete(market: Market, before: Entry) -> int:
        by = writer.caller.name
        return complete_appraisal(market, before, body.certification, name=body.name, by=by)

    request = ("complete", appraisal_id, body.model_dump_json())
    return another_revision(service, writer, appraisal_id, body.after, request, complete)


@router.get("/{appraisal_id}/history", response_model=Page)
def history(appraisal_id: AppraisalId, service: Here, caller: Valuer, paged: Paged) -> Response:
    """Who changed what, oldest first."""
    market = service.snapshot().market
    own_entry(market, caller, appraisal_id, None)
    return paged.answer(register.history(market, appraisal_id))


@router.get(
    "/{appraisal_id}/documents/{document}",
    response_class=Response,
    responses={200: {"content": {media: {"schema": {"type": "string"}} for _, media in WRITERS.values()}}},
)
def document(
    own: Own,
    document: Annotated[str, OneOf(DOCUMENTS), Path()],
    paper: Annotated[str, OneOf(("a4", "letter")), Query()] = "a4",
    locale: Annotated[str, Query(pattern="^[A-Za-z]{2,3}(_[A-Za-z0-9]{2,8})*$", max_length=20)] = "en_GB",
    unfinished: Annotated[bool, Query(description="Also while something is missing.")] = False,
) -> Response:
    """A document of an appraisal, from the evidence frozen with it."""
    _, entry = own
    name, _, kind = document.partition(".")
    write, media = WRITERS[kind]
    facts = facts_of(entry)
    pages = PAGES[name](facts if unfinished else finished(facts), LocaleWords.of(locale))
    day: date | None = entry.record.assignment.report_date
    return Response(
        write(pages, paper, day),
        media_type=media,
        headers={"Content-Disposition": f'attachment; filename="{entry.appraisal_id}-{document}"'},
    )


def another_revision(
    service: Service, writer: Writer, appraisal_id: str, after: int,
    request: tuple[str | bytes, ...], change: Callable[[Market, Entry], int], *, status: int = 200,
) -> Response:  # fmt: skip
    """Answer with the revision that ``change`` makes of the one numbered ``after``, the caller's own.

    Raises:
        HttpProblemError: 404 where the caller has no such appraisal, 409 where it has a later revision.
    """
    market = service.snapshot().market

    def work(market: Market) -> dict[str, Any]:
        before = own_entry(market, writer.caller, appraisal_id, None)
        if before.revision != after:
            raise HttpProblemError(
                409, f"{appraisal_id} has had a revision meanwhile: its last is {before.revision}"
            )
        return {"appraisal_id": appraisal_id, "revision": change(market, before)}

    own_entry(market, writer.caller, appraisal_id, None)
    return writer.once(market, request, work, lambda made: _made(market, made), status=status)


def _without_files(record: Appraisal) -> Appraisal:
    """The record, which may not name files of the server: whoever writes it need not be let at them."""
    for section, field in (("inspection", "sheet"), ("repairs", "catalogue")):
        if getattr(getattr(record, section), field):
            raise HttpProblemError(
                422, f"{section}.{field} names a file, which an appraisal over the API cannot take in"
            )
    return record


def _without_photographs(record: Appraisal) -> Appraisal:
    """The record, which names no photograph: who knows a digest need not be let at what it is of."""
    if record.photographs:
        raise HttpProblemError(
            422, "photographs are sent to /appraisals/{appraisal_id}/photographs, one each"
        )
    return record


def _made(market: Market, made: Mapping[str, Any]) -> dict[str, Any]:
    """The facts of a revision that was made."""
    return _facts(register.read(market, made["appraisal_id"], made["revision"]))


def _facts(entry: Entry) -> dict[str, Any]:
    return {
        **revision_facts(entry),
        "reason": entry.reason,
        "missing": [
            {"name": content.name, "part": content.part, "source": content.source}
            for content in missing(entry.record, entry.evidence)
        ],
        "record": plain_record(entry.record),
    }
