"""The appraisal record: everything a person says about one valuation, in sections a form can follow, each
answer of a kind, read from whatever a file, a form or a command line has; and what differs between two
records, as the log of an appraisal tells it.

What is judgement stands here, in the valuer's words; what is evidence is gathered from the market
(``evidence``). A record never changes: an edit is another one.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, Strict, StringConstraints, TypeAdapter, ValidationError

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
from pricing.validation import Day, sentence_of

KINDS: Final = {
    "text": "a text", "texts": "a list of texts", "whole": "a whole number", "number": "a number",
    "day": "a day such as 2026-06-30", "amount": "an amount such as 12500", "yes or no": "true or false",
    "how": "lines of the form field = text", "per cent": "per cent above -95 and up to 100, such as -35",
}  # fmt: skip
"""The kinds of answers, and what is expected of each, in words."""

LONGEST_TEXT: Final = 20_000
"""Characters of one answer."""

MOST_TEXTS: Final = 200
"""Texts in a list of them."""


def _blank_as(nothing: object) -> BeforeValidator:
    """What is not said, or left blank, as the answer that says nothing."""
    return BeforeValidator(lambda answer: nothing if answer is None or answer == "" else answer)


def _no_truth(answer: object) -> object:
    if isinstance(answer, bool):
        raise ValueError("true and false are no numbers")
    return answer


_Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=LONGEST_TEXT)]
_Number = Annotated[Decimal, Field(ge=-(10**15), le=10**15), BeforeValidator(_no_truth)]

_READERS: Final[dict[str, TypeAdapter[Any]]] = {
    "text": TypeAdapter(Annotated[_Text, _blank_as("")]),
    "texts": TypeAdapter(Annotated[tuple[_Text, ...], Field(max_length=MOST_TEXTS), _blank_as(())]),
    "how": TypeAdapter(Annotated[dict[str, _Text], _blank_as({})]),
    "whole": TypeAdapter(
        Annotated[Annotated[int, Strict(), Field(ge=-100_000, le=100_000)] | None, _blank_as(None)]
    ),
    "number": TypeAdapter(Annotated[_Number | None, _blank_as(None)]),
    "amount": TypeAdapter(Annotated[Annotated[_Number, Field(ge=0)] | None, _blank_as(None)]),
    "per cent": TypeAdapter(Annotated[Annotated[_Number, Field(gt=-95, le=100)] | None, _blank_as(None)]),
    "day": TypeAdapter(Annotated[Day | None, _blank_as(None)]),
    "yes or no": TypeAdapter(Annotated[Annotated[bool, Strict()] | None, _blank_as(None)]),
}


def answer_of(where: str, kind: str, answer: Any) -> Any:
    """An answer, as TOML, JSON or a form has it, held as its kind: one of ``KINDS``; what is empty is none.

    >>> answer_of("assignment.premium_per_cent", "amount", 12.5)
    Decimal('12.5')

    Raises:
        AppraisalError: it is of another kind, too long, or out of bounds; the message begins with ``where``.
    """
    try:
        read = _READERS[kind].validate_python(answer)
    except ValidationError as error:
        wrong = error.errors(include_url=False)[0]
        if wrong["type"] == "string_too_long":
            length = f"{len(wrong['input'].strip()):,}"
            raise AppraisalError(
                f"{where}: a text has at most {LONGEST_TEXT:,} characters; got {length}"
            ) from None
        if wrong["type"] == "too_long":
            raise AppraisalError(
                f"{where}: a list has at most {MOST_TEXTS} texts; got {len(answer)}"
            ) from None
        raise AppraisalError(f"{where}: got {answer!r}, expected {KINDS[kind]}") from None
    return float(read) if kind == "number" and read is not None else read


def typed(answer: str, kind: str) -> Any:
    """A text typed on a command line, as its kind is written in a file.

    >>> typed("wire_wheels; overdrive", "texts"), typed("yes", "yes or no"), typed("1966", "whole")
    (['wire_wheels', 'overdrive'], True, 1966)
    """
    text = answer.strip()
    if kind == "texts":
        return [part.strip() for part in text.split(";") if part.strip()]
    if kind == "yes or no" and text in ("yes", "no", "true", "false"):
        return text in ("yes", "true")
    if kind == "whole":
        number = text.removesuffix(".0")  # as spreadsheets give whole numbers
        return int(number) if number.lstrip("-").isdecimal() else (text or None)
    return text


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
