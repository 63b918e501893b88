"""Appraisals in the market file: every revision of every record, the evidence frozen with it, and who changed
what. Rows are added and never altered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import polars as pl

from pricing.errors import MarketError
from pricing.store.audit import now, write_audits
from pricing.store.connected import Connected
from pricing.store.connection import Opened, add_rows, value
from pricing.store.kept.answers import keep_result
from pricing.store.kept.photographs import insert_photographs
from pricing.untrusted.photographs import ReadPhotograph

_REVISIONS: Final = (
    "SELECT appraisal_id, revision, record, content, evidence_digest, made_at, made_by, reason "
    "FROM appraisals LEFT JOIN appraisal_evidence ON digest = evidence_digest"
)
_LAST: Final = "QUALIFY row_number() OVER (PARTITION BY appraisal_id ORDER BY revision DESC) = 1"

FieldChange = tuple[str, str, str]
"""A field, what it was, what it is."""


@dataclass(frozen=True)
class Revision:
    """One revision as it is kept; ``evidence`` is null while none was gathered. ``number`` counts from 1."""

    appraisal_id: str
    number: int
    record: str
    evidence: str | None
    digest: str | None
    made_at: datetime
    made_by: str
    reason: str


@dataclass(frozen=True)
class Draft:
    """A revision to be kept: of a new appraisal, or the one after revision ``after`` of ``appraisal_id``;
    with it the photographs that it is the first to name."""

    record: str
    evidence: str | None
    digest: str | None
    made_by: str
    reason: str
    changes: Sequence[FieldChange] = ()
    appraisal_id: str | None = None
    after: int = 0
    photographs: Sequence[ReadPhotograph] = ()


def _insert(opened: Opened, numbered: Sequence[tuple[Draft, str]], at: datetime) -> None:
    """Insert drafts, each under its appraisal's name, a table at a time."""
    rows = [
        {
            "appraisal_id": name, "revision": draft.after + 1, "record": draft.record,
            "evidence_digest": draft.digest, "made_at": at, "made_by": draft.made_by, "reason": draft.reason,
        }
        for draft, name in numbered
    ]  # fmt: skip
    add_rows(opened, "appraisals", rows)
    frozen = {draft.digest: draft.evidence for draft, _ in numbered if draft.evidence is not None}
    evidence = [{"digest": digest, "content": content} for digest, content in frozen.items()]
    add_rows(opened, "appraisal_evidence", evidence, clash="skip")
    insert_photographs(opened, [shot for draft, _ in numbered for shot in draft.photographs])
    changed = [
        {"appraisal_id": name, "revision": draft.after + 1, "field": field, "old": old, "new": new}
        for draft, name in numbered
        for field, old, new in draft.changes
    ]
    add_rows(opened, "appraisal_changes", changed)
    columns = {"revision": "revision", "by": "made_by", "reason": "reason", "evidence": "evidence_digest"}
    details = ({name: row[column] for name, column in columns.items()} for row in rows)
    write_audits(opened, at, "appraisal", zip((name for _, name in numbered), details, strict=True))


class Appraisals(Connected):
    """The appraisals of a market: ``Market.appraisals``."""

    def keep(self, drafts: Sequence[Draft]) -> list[tuple[str, int]]:
        """Keep revisions, all or none; returns the id and number of each. Under an idempotency key the last
        of them is what came of the write. Raises ``MarketError`` where one is gone or was revised since."""
        at, newest = now(), "SELECT max(revision) FROM appraisals WHERE appraisal_id = ?"
        with self._connect(write=True) as opened:
            count = value(opened, "SELECT count(DISTINCT appraisal_id) FROM appraisals")
            numbered = []
            for draft in drafts:
                name = draft.appraisal_id
                if name is None:
                    count += 1
                    name = f"appraisal-{count:04d}"
                elif (last := value(opened, newest, [name])) is None:
                    raise MarketError(f"there is no appraisal {name!r} to revise")
                elif last != draft.after:
                    which = f"its last is {last}, this one follows {draft.after}"
                    raise MarketError(f"{name} has had a revision meanwhile: {which}")
                numbered.append((draft, name))
            revisions = [(name, draft.after + 1) for draft, name in numbered]
            if revisions:
                _insert(opened, numbered, at)
                name, number = revisions[-1]
                keep_result(opened, self.idempotency, {"appraisal_id": name, "revision": number})
            return revisions

    def revision(self, appraisal_id: str, number: int | None = None) -> Revision:
        """A revision, the last one by default. Raises ``MarketError`` when there is none such."""
        rows = self._rows(
            f"{_REVISIONS} WHERE appraisal_id = ? AND revision = coalesce(?, revision) "
            "ORDER BY revision DESC LIMIT 1",
            [appraisal_id, number],
        )
        if not rows:
            which = "" if number is None else f" with a revision {number}"
            raise MarketError(
                f"the market holds no appraisal {appraisal_id!r}{which}; `pricing appraise list` lists them"
            )
        return Revision(*rows[0])

    def last_of(self, names: Sequence[str]) -> list[Revision]:
        """The last revision of each of these appraisals, by one question."""
        rows = self._rows(f"{_REVISIONS} WHERE appraisal_id IN (SELECT unnest(?)) {_LAST}", [list(names)])
        return [Revision(*row) for row in rows]

    def last_revisions(self) -> pl.DataFrame:
        """The last revision of every appraisal, without its evidence."""
        return self._frame(
            "SELECT appraisal_id, revision, record, evidence_digest, made_at, made_by, reason "  # noqa: S608
            f"FROM appraisals {_LAST} ORDER BY appraisal_id"
        )

    def changes_of(self, appraisal_id: str) -> pl.DataFrame:
        """Who changed what: a row a revision and field, oldest first; a revision that changed no field has
        one row without."""
        return self._frame(
            "SELECT revision, made_at, made_by, reason, field, old, new FROM appraisals "
            "LEFT JOIN appraisal_changes USING (appraisal_id, revision) WHERE appraisal_id = ? "
            "ORDER BY revision, field",
            [appraisal_id],
        )

    def first_makers(self) -> dict[str, str]:
        """Who entered each appraisal."""
        return dict(self._rows("SELECT appraisal_id, made_by FROM appraisals WHERE revision = 1"))
