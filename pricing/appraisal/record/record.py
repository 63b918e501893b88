"""The appraisal record: everything a person says about one valuation, in sections a form can follow; and what
differs between two of them, as the log of an appraisal tells it.

What is judgement stands here, in the valuer's words; what is evidence is gathered from the market
(``evidence``). A record never changes: an edit is another one.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from pricing.appraisal.record.answers import answer_of, typed
from pricing.appraisal.record.photographs import Photographs, read_photographs
from pricing.appraisal.record.sections import (
    QUESTIONS,
    RETIRED,
    SECTIONS,
    Assignment,
    Conditions,
    EvidenceTerms,
    InspectionNote,
    Opinion,
    Repairs,
    Subject,
    Valuer,
    is_act,
)
from pricing.decisions.plain import plain
from pricing.errors import AppraisalError
from pricing.evidence.comparison.choices import Choice
from pricing.money.currencies import minor_unit_places
from pricing.store.kept.appraisals import FieldChange
from pricing.validation import sentence_of

_CHOICES: Final = TypeAdapter(tuple[Choice, ...])


@dataclass(frozen=True)
class Appraisal:
    """The whole record; ``choices`` are the person's about single comparables, ``photographs`` those of the
    car, in order.

    >>> record = read_record({"assignment": {"client": "A. Client"}, "subject": {"year": 1966}})
    >>> record.assignment.client, record.subject.year, record.opinion.figure
    ('A. Client', 1966, None)
    >>> read_record({"assignment": {"client": 7}})
    Traceback (most recent call last):
    pricing.errors.AppraisalError: assignment.client: got 7, expected a text
    """

    assignment: Assignment = Assignment()
    subject: Subject = field(default_factory=Subject)
    inspection: InspectionNote = InspectionNote()
    repairs: Repairs = Repairs()
    conditions: Conditions = Conditions()
    evidence: EvidenceTerms = EvidenceTerms()
    opinion: Opinion = Opinion()
    valuer: Valuer = field(default_factory=Valuer)
    choices: tuple[Choice, ...] = ()
    photographs: Photographs = ()

    @property
    def completed(self) -> bool:
        """Whether the valuer has completed it; a model report never is an appraisal, so never completed."""
        return self.assignment.kind != "model report" and self.valuer.completed_on is not None


def read_record(content: Mapping[str, Any]) -> Appraisal:
    """A record from tables of plain values, as TOML and JSON have them.

    Raises:
        AppraisalError: a section or field is unknown, or an answer is of the wrong kind.
    """
    known = (*SECTIONS, "choice", "photograph")
    unknown = sorted(set(content) - set(known))
    if unknown:
        raise AppraisalError(f"no section [{unknown[0]}]; the sections are: {', '.join(known)}")
    parts = {name: _section(kind, name, content.get(name, {})) for name, kind in SECTIONS.items()}
    rows = content.get("choice", [])
    try:
        choices = _CHOICES.validate_python(rows)
    except ValidationError as error:
        raise AppraisalError(sentence_of(error, rows, named_by="record_id", within="choice")) from None
    return Appraisal(**parts, choices=choices, photographs=read_photographs(content.get("photograph", [])))


def read_kept(content: Mapping[str, Any]) -> Appraisal:
    """A record as a market file keeps it, of whatever version: without answers to questions no longer asked.

    >>> read_kept({"evidence": {"index_period": "year", "count": 9}}).evidence.count
    9
    """
    sections = {name: dict(table) if isinstance(table, Mapping) else table for name, table in content.items()}
    for section, name in RETIRED:
        if isinstance(sections.get(section), dict):
            sections[section].pop(name, None)
    return read_record(sections)


def with_answer(record: Appraisal, name: str, answer: object) -> Appraisal:
    """The record with one field answered anew; ``name`` is section.field, a text is read as its kind.

    >>> with_answer(Appraisal(), "subject.year", "1966").subject.year
    1966

    Raises:
        AppraisalError: there is no such field, or the answer is of the wrong kind.
    """
    section, _, wanted = name.partition(".")
    content = plain_record(record)
    known = QUESTIONS.get(section, {})
    if section == "subject" and wanted.startswith("established."):
        content["subject"]["established"] |= {wanted.removeprefix("established."): answer}
    elif is_act(section, wanted):
        raise AppraisalError(f"{name} is not a field to fill in: only completing the appraisal writes it")
    elif wanted not in known:
        raise AppraisalError(f"no field {name!r}; a field is named section.field, such as assignment.client")
    else:
        kind = known[wanted].metadata["kind"]
        content[section][wanted] = typed(answer, kind) if isinstance(answer, str) else answer
    return read_record(content)


def answer_at(record: Appraisal, name: str) -> Any:
    """What a record answers to section.field.

    >>> answer_at(Appraisal(), "assignment.client")
    ''
    """
    section, _, field_name = name.partition(".")
    return getattr(getattr(record, section), field_name)


def plain_record(record: Appraisal) -> dict[str, Any]:
    """The inverse of ``read_record``: amounts as decimal strings, days as ISO 8601."""
    content: dict[str, Any] = plain(record)
    return content | {"choice": content.pop("choices"), "photograph": content.pop("photographs")}


def _section(kind: type, name: str, table: object) -> Any:
    if not isinstance(table, Mapping):
        raise AppraisalError(f"[{name}] holds lines of the form field = answer; got {table!r}")
    known = QUESTIONS[name]
    unknown = sorted(set(table) - set(known))
    if unknown:
        raise AppraisalError(f"no field {name}.{unknown[0]}; [{name}] has: {', '.join(known)}")
    answers = {}
    for key, answer in table.items():
        where, question = f"{name}.{key}", known[key].metadata
        answers[key] = answer_of(where, question["kind"], answer)
        allowed = question["allowed"]
        if allowed and answers[key] not in ("", *allowed):
            raise AppraisalError(f"{where}: got {answer!r}, expected one of: {', '.join(allowed)}")
        if key == "currency" and answers[key]:
            minor_unit_places(answers[key])
    return kind(**answers)


def changes(before: Appraisal, after: Appraisal) -> list[FieldChange]:
    """The fields in which two records differ, as text: what each was and is.

    >>> from pricing.appraisal.record.record import with_answer
    >>> changes(Appraisal(), with_answer(Appraisal(), "subject.year", "1966"))
    [('subject.year', '', '1966')]
    """
    old, new = _flat(_listed_photographs(before)), _flat(_listed_photographs(after))
    names = dict.fromkeys((*old, *new))
    rows = [(name, old.get(name, ""), new.get(name, "")) for name in names]
    return [(name, before, after) for name, before, after in rows if before != after]


def _listed_photographs(record: Appraisal) -> dict[str, Any]:
    """The record as plain values, each photograph a field of its own that says which it is."""
    lines = {
        shot.digest[:12]: [str(number), shot.file, shot.caption, shot.check, "cover" if shot.cover else ""]
        for number, shot in enumerate(record.photographs, 1)
    }
    named = {digest: "; ".join(part for part in parts if part) for digest, parts in lines.items()}
    return {**plain_record(record), "photograph": named}


def _flat(content: Mapping[str, Any], front: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for name, value in content.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{front}{name}.")
        elif isinstance(value, list):
            parts = (part if isinstance(part, str) else json.dumps(part, sort_keys=True) for part in value)
            flat[f"{front}{name}"] = "; ".join(parts)
        else:
            flat[f"{front}{name}"] = "" if value is None else str(value)
    return flat
