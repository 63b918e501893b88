"""The appraisal record: everything a person says about one valuation, in sections a form can follow.

What is judgement stands here, in the valuer's words; what is evidence is gathered from the market
(``evidence``). A record never changes: an edit is another one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any, Final

from pricing.appraisal.answers import answer_of, typed
from pricing.car_fields import FIELDS
from pricing.errors import AppraisalError
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.indices.index import METHODS
from pricing.evidence.indices.periods import LENGTHS
from pricing.money.currencies import minor_unit_places
from pricing.vocabulary import CHANNELS

KINDS: Final = ("appraisal", "model report")
"""An appraisal holds a valuer's opinion; what the price model says alone is a model report."""

BASES: Final = (
    "market value", "agreed value for insurance", "replacement value", "probate value",
    "liquidation value", "equitable value", "investment value", "other",
)  # fmt: skip
"""Bases of value in use; the definition and its source are the valuer's to give."""

MARKET_LEVELS: Final = ("auction hammer", "auction all-in", "dealer", "private")
"""What a figure includes and where: the hammer price alone, or all that a buyer pays at each kind of sale."""

CHANNEL_OF_LEVEL: Final = dict(zip(MARKET_LEVELS, ("auction", *CHANNELS), strict=True))
"""Where a car of each market level is sold, in the words of a sale record."""

INSPECTED: Final = ("in person", "from photographs", "not inspected")
"""How the car was seen. There is no default: that a car was inspected is for a person to say."""

Said = str | int | float | bool | date | Decimal | tuple[str, ...] | dict[str, str] | None


def _asks(question: str, kind: str = "text", allowed: tuple[str, ...] = ()) -> Any:
    """A field of a section: what it asks, and the kind of its answer."""
    empty: Any = {"text": "", "texts": (), "how": {}}.get(kind)
    metadata = {"asks": question, "kind": kind, "allowed": allowed}
    if kind == "how":
        return field(default_factory=dict, metadata=metadata)
    return field(default=empty, metadata=metadata)


def _said(name: str) -> Any:
    """A field of the car: asked for and read as everywhere; its rules are asked when evidence is gathered."""
    return _asks(FIELDS[name].question, FIELDS[name].kind)


@dataclass(frozen=True)
class Assignment:
    """Who asks for what, on which basis, at which dates."""

    kind: str = _asks("appraisal, or model report (no valuer's opinion)", allowed=KINDS)
    client: str = _asks("who the valuation is for")
    intended_users: str = _asks("who else may rely on it")
    intended_use: str = _asks("what it is to be used for")
    interest: str = _asks("interest valued, such as full ownership, free of finance")
    basis: str = _asks("basis of value", allowed=BASES)
    basis_definition: str = _asks("definition of that basis, word for word")
    basis_source: str = _asks("where the definition comes from")
    market_level: str = _asks("market level of the figure", allowed=MARKET_LEVELS)
    premium_per_cent: Decimal | None = _asks(
        "buyer's premium with its tax, per cent of the hammer price; for the level auction hammer", "amount"
    )
    currency: str = _asks("currency of the figure (ISO 4217)")
    rate_date: date | None = _asks("day of the exchange rate; the effective date when not said", "day")
    tax_status: str = _asks("which taxes and duties the figure includes, and what was paid on the car")
    effective_date: date | None = _asks("day the value holds at", "day")
    report_date: date | None = _asks("day of the report", "day")
    scope: str = _asks("what was done to come to the value")
    not_done: str = _asks("what was not done, and why")
    helpers: str = _asks("who gave significant help, or none")
    exposure_time: str = _asks("how long such a car would be offered before it sells at the value")
    limits: str = _asks("limits on the use of the document")


@dataclass(frozen=True)
class Subject:
    """The car, every identity field, and how each was established."""

    make: str = _said("make")
    model: str = _said("model")
    variant: str = _said("variant")
    year: int | None = _said("year")
    chassis_number: str = _said("chassis_number")
    engine_number: str = _asks("engine number")
    registration: str = _asks("registration mark")
    body_style: str = _said("body_style")
    colour: str = _asks("colour")
    drive_side: str = _said("drive_side")
    condition_band: str = _said("condition_band")
    condition_score: float | None = _said("condition_score")
    odometer_km: float | None = _said("odometer_km")
    options: tuple[str, ...] = _said("options")
    matching_numbers: str = _said("matching_numbers")
    history_file: bool | None = _said("history_file")
    country: str = _asks("country of the market (ISO 3166-1 alpha-2)")
    provenance: str = _asks("what is known of its past, and from where")
    established: dict[str, str] = _asks("how each identity field was established", "how")


@dataclass(frozen=True)
class InspectionNote:
    """How much of the car was seen, by whom and when; or that it was not."""

    manner: str = _asks("how the car was seen", allowed=INSPECTED)
    by: str = _asks("who saw it")
    on: date | None = _asks("when", "day")
    extent: str = _asks("how much was seen; or why it was not")
    sheet: str = _asks("inspection file (.json) of the findings, where there is one")


@dataclass(frozen=True)
class Repairs:
    """What a repair budget is reckoned with, where one is relevant."""

    catalogue: str = _asks("repair catalogue (.toml); without one there is no budget")
    country: str = _asks("country of the work (ISO 3166-1 alpha-2)")
    least: str = _asks("put right what is at least this bad")


@dataclass(frozen=True)
class Conditions:
    """What the value rests on beyond the evidence."""

    extraordinary: tuple[str, ...] = _asks("extraordinary assumptions, or none", "texts")
    hypothetical: tuple[str, ...] = _asks("hypothetical conditions, or none", "texts")


@dataclass(frozen=True)
class EvidenceTerms:
    """How the evidence is looked for."""

    fit: str = _asks("kept fit to price with; the newest, or one made for the effective date, when not said")
    count: int | None = _asks("comparables wanted", "whole")
    coverage: float | None = _asks("share of like cars that a range is to hold", "number")
    index_method: str = _asks("method of the price index", allowed=METHODS)
    index_period: str = _asks("period of the price index", allowed=tuple(LENGTHS))


@dataclass(frozen=True)
class Opinion:
    """The valuer's own: the reasoning and the figure, or the range."""

    reconciliation: str = _asks("how the evidence was weighed, in the valuer's words")
    approaches_left_out: str = _asks("which approaches were not used, and why")
    figure: Decimal | None = _asks("the value", "amount")
    low: Decimal | None = _asks("or a range: its low end", "amount")
    high: Decimal | None = _asks("and its high end", "amount")


@dataclass(frozen=True)
class Valuer:
    """Who answers for the opinion; without ``completed_on`` the document is a draft."""

    name: str = _asks("name of the qualified valuer")
    qualifications: str = _asks("qualifications")
    contact: str = _asks("how to reach the valuer")
    completed_on: date | None = _asks("day the valuer completed the appraisal; never filled in by a program",
                                      "day")  # fmt: skip


@dataclass(frozen=True)
class Appraisal:
    """The whole record; ``choices`` are the person's about single comparables.

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
    valuer: Valuer = Valuer()
    choices: tuple[Choice, ...] = ()

    @property
    def completed(self) -> bool:
        """Whether the valuer has completed it; a model report never is an appraisal, so never completed."""
        return self.assignment.kind != "model report" and self.valuer.completed_on is not None


SECTIONS: Final[dict[str, type]] = {
    "assignment": Assignment, "subject": Subject, "inspection": InspectionNote, "repairs": Repairs,
    "conditions": Conditions, "evidence": EvidenceTerms, "opinion": Opinion, "valuer": Valuer,
}  # fmt: skip


def read_record(content: Mapping[str, Any]) -> Appraisal:
    """A record from tables of plain values, as TOML and JSON have them.

    Raises:
        AppraisalError: a section or field is unknown, or an answer is of the wrong kind.
    """
    unknown = sorted(set(content) - {*SECTIONS, "choice"})
    if unknown:
        raise AppraisalError(f"no section [{unknown[0]}]; the sections are: {', '.join(SECTIONS)}, choice")
    parts = {name: _section(kind, name, content.get(name, {})) for name, kind in SECTIONS.items()}
    rows = content.get("choice", [])
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        raise AppraisalError("choice: expected tables [[choice]] of record_id, action and reason")
    return Appraisal(**parts, choices=tuple(_choice(row) for row in rows))


def with_answer(record: Appraisal, name: str, answer: object) -> Appraisal:
    """The record with one field answered anew; ``name`` is section.field, a text is read as its kind.

    >>> with_answer(Appraisal(), "subject.year", "1966").subject.year
    1966

    Raises:
        AppraisalError: there is no such field, or the answer is of the wrong kind.
    """
    section, _, wanted = name.partition(".")
    content = plain_record(record)
    known = {part.name: part for part in fields(SECTIONS[section])} if section in SECTIONS else {}
    if section == "subject" and wanted.startswith("established."):
        content["subject"]["established"] |= {wanted.removeprefix("established."): answer}
    elif wanted not in known:
        raise AppraisalError(f"no field {name!r}; a field is named section.field, such as assignment.client")
    else:
        kind = known[wanted].metadata["kind"]
        content[section][wanted] = typed(answer, kind) if isinstance(answer, str) else answer
    return read_record(content)


def plain_record(record: Appraisal) -> dict[str, Any]:
    """The inverse of ``read_record``: amounts as decimal strings, days as ISO 8601."""
    content: dict[str, Any] = {}
    for name, kind in SECTIONS.items():
        section = getattr(record, name)
        content[name] = {part.name: _plain(getattr(section, part.name)) for part in fields(kind)}
    content["choice"] = [
        {part.name: getattr(choice, part.name) for part in fields(choice)} for choice in record.choices
    ]
    return content


def _plain(value: Said) -> Any:
    match value:
        case tuple():
            return list(value)
        case Decimal() | date():
            return str(value)
        case dict():
            return dict(value)
        case _:
            return value


def _choice(row: Mapping[str, Any]) -> Choice:
    unknown = sorted(set(row) - {part.name for part in fields(Choice)})
    if unknown:
        raise AppraisalError(
            f"choice.{unknown[0]}: a choice has record_id, action, reason, line and per_cent"
        )
    size = row.get("per_cent")
    texts = {name: row.get(name) for name in ("record_id", "action", "reason", "line")}
    for name, text in texts.items():
        if not isinstance(text, str) and not (name == "line" and text is None):
            raise AppraisalError(f"choice.{name}: got {text!r}, expected a text")
    if size is not None and (isinstance(size, bool) or not isinstance(size, int | float)):
        raise AppraisalError(f"choice.per_cent: got {size!r}, expected a number")
    return Choice(**texts, per_cent=None if size is None else float(size))  # type: ignore[arg-type]


def _section(kind: type, name: str, table: object) -> Any:
    if not isinstance(table, Mapping):
        raise AppraisalError(f"[{name}] holds lines of the form field = answer; got {table!r}")
    known = {part.name: part for part in fields(kind)}
    unknown = sorted(set(table) - set(known))
    if unknown:
        raise AppraisalError(f"no field {name}.{unknown[0]}; [{name}] has: {', '.join(known)}")
    answers = {}
    for key, answer in table.items():
        where, asked = f"{name}.{key}", known[key].metadata
        answers[key] = answer_of(where, asked["kind"], answer)
        if asked["allowed"] and answers[key] not in ("", *asked["allowed"]):
            raise AppraisalError(f"{where}: got {answer!r}, expected one of: {', '.join(asked['allowed'])}")
        if key == "currency" and answers[key]:
            minor_unit_places(answers[key])
    return kind(**answers)
