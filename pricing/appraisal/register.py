"""The register of appraisals: records entered, revised and read back with the evidence frozen at the time.

A revision keeps the one before. What a valuer completed does not stay completed when something of it is
changed: the completion is taken off. Only ``completion.complete`` gives one.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, Final

import polars as pl

from pricing.appraisal.evidence import FROZEN_KINDS, Evidence, terms_of
from pricing.appraisal.evidence_json import deserialise, digest, serialise
from pricing.appraisal.record.record import Appraisal, changes, plain_record, read_kept
from pricing.appraisal.record.sections import Valuer
from pricing.errors import AppraisalError
from pricing.notebook_html import facts_html, range_text
from pricing.store.audit import now
from pricing.store.kept.appraisals import Draft, Revision
from pricing.store.market import Market
from pricing.untrusted.photographs import ReadPhotograph

_ACT: Final = "an appraisal is completed by an act of its own, not by filling in valuer.completed_on"


@dataclass(frozen=True)
class Entry:
    """One revision of an appraisal; ``evidence`` is None while none could be gathered, ``evidence_digest`` is
    its fingerprint. ``shown`` are the pictures of its photographs, by digest."""

    appraisal_id: str
    revision: int
    record: Appraisal
    evidence: Evidence | None
    evidence_digest: str | None
    made_at: datetime
    made_by: str
    reason: str
    shown: Mapping[str, bytes] = field(default_factory=dict)

    def _repr_html_(self) -> str:
        """Which revision of which appraisal, of what car, and the model's range on the day."""
        car = self.record.subject
        of_car = " ".join(str(part) for part in (car.year, car.make, car.model) if part)
        named = f"{self.appraisal_id}, revision {self.revision}: {of_car}"
        if self.evidence is None:
            return facts_html(named, "no evidence could be gathered yet")
        value = self.evidence.valuation
        spread = range_text(value.low, value.mid, value.high, value.currency, value.reason)
        return facts_html(named, f"evidence of {value.as_of}: {spread}", frame=value.bands)


def enter(
    market: Market,
    records: Sequence[tuple[Appraisal, Evidence | None]],
    *,
    by: str,
    reason: str = "entered",
    photographs: Sequence[ReadPhotograph] = (),
) -> list[str]:
    """Enter new appraisals, all or none; returns their ids. Raises ``AppraisalError`` without a name, for
    one that claims to be completed or names a photograph that nobody has."""
    return [entry.appraisal_id for entry in entered(market, records, by, reason, photographs)]


def entered(
    market: Market,
    records: Sequence[tuple[Appraisal, Evidence | None]],
    by: str,
    reason: str,
    photographs: Sequence[ReadPhotograph],
) -> list[Entry]:
    """The same, with the entries as they are kept; ``photographs`` are those that they are the first to
    name."""
    if any(_completion(record) != _completion(Appraisal()) for record, _ in records):
        raise AppraisalError(_ACT)
    known = [(with_known(market, record, photographs), evidence) for record, evidence in records]
    drafts = [_draft(record, evidence, by, reason, photographs) for record, evidence in known]
    numbered = zip(market.appraisals.keep(drafts), drafts, known, strict=True)
    return [
        Entry(name, number, record, evidence, draft.digest, now(), draft.made_by, draft.reason,
              _shown(market, record))
        for (name, number), draft, (record, evidence) in numbered
    ]  # fmt: skip


def revise(
    market: Market,
    before: Entry,
    record: Appraisal,
    evidence: Evidence | None,
    *,
    by: str,
    reason: str,
    photographs: Sequence[ReadPhotograph] = (),
) -> int:
    """Keep another revision of an appraisal; returns its number.

    The evidence is to fit the record: pass ``before.evidence`` where ``needs_evidence`` says it still does.
    ``photographs`` are those that the record is the first to name.

    Raises:
        AppraisalError: nothing is changed, or no name or reason is given.
        MarketError: somebody else has revised it meanwhile.
    """
    record = with_known(market, record, photographs)
    if _completion(record) not in (_completion(before.record), _completion(Appraisal())):
        raise AppraisalError(_ACT)
    held, free = (_completed_as(record, valuer) for valuer in (before.record.valuer, Valuer()))
    draft = _draft(free, evidence, by, reason, photographs)
    if not changes(before.record, held) and draft.digest == before.evidence_digest:
        raise AppraisalError(f"{before.appraisal_id}: nothing is changed, so there is nothing to keep")
    return _keep(market, before, free, draft)


def keep_completed(market: Market, before: Entry, record: Appraisal, *, by: str) -> int:
    """Keep the completed record as a revision with the evidence before it; ``completion.complete`` alone
    calls this, after it has looked at everything."""
    return _keep(market, before, record, _draft(record, before.evidence, by, "completed by the valuer"))


def _keep(market: Market, before: Entry, record: Appraisal, draft: Draft) -> int:
    log = changes(before.record, record)
    revision = replace(draft, changes=log, appraisal_id=before.appraisal_id, after=before.revision)
    ((_, number),) = market.appraisals.keep([revision])
    return number


def with_known(market: Market, record: Appraisal, read: Sequence[ReadPhotograph]) -> Appraisal:
    """The record with what the bytes of its photographs tell, whatever it says itself.

    Raises:
        AppraisalError: it names a photograph that is neither kept nor among those ``read``.
    """
    if not record.photographs:
        return record
    by_bytes: dict[str, dict[str, Any]] = {
        shot.digest: {"taken_on": shot.taken_on, "removed": shot.removed} for shot in read
    }
    others = [shot.digest for shot in record.photographs if shot.digest not in by_bytes]
    if others:
        for row in market.photographs.described(others).iter_rows(named=True):
            by_bytes[row["digest"]] = {"taken_on": row["taken_on"], "removed": tuple(row["removed"])}
    for shot in record.photographs:
        if shot.digest not in by_bytes:
            raise AppraisalError(
                f"photograph {shot.file}: its bytes are not in the market; add it from its file"
            )
    return replace(
        record, photographs=tuple(replace(shot, **by_bytes[shot.digest]) for shot in record.photographs)
    )


def taken_in_for(market: Market, digest: str, chassis: str) -> str:
    """The chassis number that a photograph is taken in for: ``chassis``, unless an earlier appraisal has the
    same photograph for another car, so that the rules see whose it was first."""
    first = market.photographs.first_record(digest)
    if first is None:
        return chassis
    named = read_kept(json.loads(first)).photographs
    return next((shot.chassis for shot in named if shot.digest == digest and shot.chassis), chassis)


def _shown(market: Market, record: Appraisal) -> dict[str, bytes]:
    digests = [shot.digest for shot in record.photographs]
    return market.photographs.shown(digests) if digests else {}


def _completed_as(record: Appraisal, valuer: Valuer) -> Appraisal:
    """The record completed, or not, as another was."""
    on, certification = valuer.completed_on, valuer.certification
    return replace(record, valuer=replace(record.valuer, completed_on=on, certification=certification))


def _completion(record: Appraisal) -> tuple[date | None, dict[str, str]]:
    return record.valuer.completed_on, record.valuer.certification


def read(market: Market, appraisal_id: str, revision: int | None = None) -> Entry:
    """A revision with its evidence, the last one by default.

    Raises:
        MarketError: there is none such.
        AppraisalError: the evidence is not what its digest says.
    """
    entry = _entry(market.appraisals.revision(appraisal_id, revision))
    return replace(entry, shown=_shown(market, entry.record))


def last_entries(market: Market, names: Sequence[str]) -> dict[str, Entry]:
    """The last revision of each of many appraisals by its id, read at once.

    Raises:
        AppraisalError: the evidence of one is not what its digest says.
    """
    return {revision.appraisal_id: _entry(revision) for revision in market.appraisals.last_of(names)}


def listed(market: Market) -> pl.DataFrame:
    """The last revision of every appraisal: appraisal_id, revision, kind, client, car, effective_date,
    completed, made_at, made_by, evidence_digest."""
    rows = [
        _line(row, read_kept(json.loads(row["record"])))
        for row in market.appraisals.last_revisions().iter_rows(named=True)
    ]
    return pl.DataFrame(rows, schema=_LISTED)


def history(market: Market, appraisal_id: str) -> pl.DataFrame:
    """Who changed what, oldest first: revision, made_at, made_by, reason, field, old, new."""
    return market.appraisals.changes_of(appraisal_id)


def needs_evidence(before: Entry, record: Appraisal) -> bool:
    """Whether a changed record asks for other evidence than the one frozen with it."""
    return before.evidence is None or terms_of(before.record) != terms_of(record)


_LISTED: Final[dict[str, Any]] = {
    "appraisal_id": pl.String, "revision": pl.Int32, "kind": pl.String, "client": pl.String, "car": pl.String,
    "effective_date": pl.Date, "completed": pl.Boolean, "made_at": pl.Datetime("us"), "made_by": pl.String,
    "evidence_digest": pl.String,
}  # fmt: skip


def _line(row: Mapping[str, Any], record: Appraisal) -> dict[str, Any]:
    car, assignment = record.subject, record.assignment
    named = (car.year, car.make, car.model, car.variant)
    of_record = {
        "kind": assignment.kind,
        "client": assignment.client,
        "car": " ".join(str(part) for part in named if part not in (None, "")),
        "effective_date": assignment.effective_date,
        "completed": record.completed,
    }
    return of_record | {name: row[name] for name in _LISTED if name not in of_record}


def _draft(
    record: Appraisal,
    evidence: Evidence | None,
    by: str,
    reason: str,
    photographs: Sequence[ReadPhotograph] = (),
) -> Draft:
    if not by.strip() or not reason.strip():
        raise AppraisalError("to keep an appraisal needs the name of who does it, and a reason")
    text = None if evidence is None else serialise(evidence)
    named = {shot.digest for shot in record.photographs}
    return Draft(
        json.dumps(plain_record(record), ensure_ascii=True, sort_keys=True), text,
        None if text is None else digest(text), by.strip(), reason.strip(),
        photographs=[shot for shot in photographs if shot.digest in named],
    )  # fmt: skip


def _entry(revision: Revision) -> Entry:
    """A revision as it is kept, without pictures."""
    name, number, evidence = revision.appraisal_id, revision.number, None
    if revision.digest is not None:
        if revision.evidence is None or digest(revision.evidence) != revision.digest:
            raise AppraisalError(
                f"{name}, revision {number}: the evidence was altered; it does not match its digest"
            )
        evidence = deserialise(revision.evidence, FROZEN_KINDS)
        if not isinstance(evidence, Evidence):
            raise AppraisalError(f"{name}: what is kept as evidence is something else")
    record = read_kept(json.loads(revision.record))
    return Entry(
        name, number, record, evidence, revision.digest, revision.made_at, revision.made_by, revision.reason
    )
