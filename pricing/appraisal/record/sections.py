"""The sections of an appraisal record: every question it asks, the kind of its answer, what is allowed.

A question whose answer is an act of its own (``act``) stands in no form and no section of a page: only
``completion.complete`` writes it.
"""

from dataclasses import Field, dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any, Final

from pricing.appraisal.bases import BASIS_NAMES, EVERY_LEVEL, PREMISES
from pricing.car_fields import FIELDS
from pricing.vocabulary import CHANNELS

KINDS: Final = ("appraisal", "model report")
"""An appraisal holds a valuer's opinion; what the price model says alone is a model report."""

MARKET_LEVELS: Final = EVERY_LEVEL
"""What a figure includes and where: the hammer price alone, or all that a buyer pays at each kind of sale."""

CHANNEL_OF_LEVEL: Final = dict(zip(MARKET_LEVELS, ("auction", *CHANNELS), strict=True))
"""Where a car of each market level is sold, in the words of a sale record."""

RESTS_ON: Final = ("evidence", "stated judgement")
"""What brings a figure from one premise to another."""

INSPECTED: Final = ("in person", "from photographs", "not inspected")
"""How the car was seen. There is no default: that a car was inspected is for a person to say."""


def _asks(question: str, kind: str = "text", allowed: tuple[str, ...] = (), *, act: bool = False) -> Any:
    """A field of a section: what it asks, the kind of its answer, and whether answering is an act of its
    own."""
    empty: Any = {"text": "", "texts": (), "how": {}}.get(kind)
    metadata = {"asks": question, "kind": kind, "allowed": allowed, "act": act}
    if kind == "how":
        return field(default_factory=dict, metadata=metadata)
    return field(default=empty, metadata=metadata)


def _of_car(name: str) -> Any:
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
    basis: str = _asks("basis of value", allowed=BASIS_NAMES)
    basis_definition: str = _asks("definition of that basis, word for word")
    basis_source: str = _asks("where the definition comes from")
    premise: str = _asks("premise of value", allowed=PREMISES)
    premise_per_cent: Decimal | None = _asks(
        "what a figure under this premise differs by from one of sales as recorded, per cent, such as -35",
        "per cent",
    )
    premise_rests_on: str = _asks("what that difference rests on", allowed=RESTS_ON)
    premise_change: str = _asks("that evidence, with its source; or the reasons of the judgement")
    market_level: str = _asks("market level of the figure", allowed=MARKET_LEVELS)
    level_reason: str = _asks("why that market level")
    premium_per_cent: Decimal | None = _asks(
        "buyer's premium with its tax, per cent of the hammer price; for the level auction hammer", "amount"
    )
    currency: str = _asks("currency of the figure (ISO 4217)")
    rate_date: date | None = _asks("day of the exchange rate; the effective date when not said", "day")
    tax_status: str = _asks("which taxes and duties the figure includes, and what was paid on the car")
    effective_date: date | None = _asks("day the value holds at", "day")
    retrospective: str = _asks(
        "for an effective date well before the report: that the value is retrospective, and what it rests on"
    )
    report_date: date | None = _asks("day of the report", "day")
    scope: str = _asks("what was done to come to the value")
    not_done: str = _asks("what was not done, and why")
    helpers: str = _asks("who gave significant help, or none")
    exposure_time: str = _asks("how long such a car would be offered before it sells at the value")
    limits: str = _asks("limits on the use of the document")
    liability: str = _asks("limits of liability, and to whom there is any")
    prior_services: str = _asks("services about this car in the last three years, or none")
    conflicts: str = _asks("interest in the car and conflicts of interest, or none")
    fee_basis: str = _asks("what the fee depends on")


@dataclass(frozen=True)
class Subject:
    """The car, every identity field, and how each was established."""

    make: str = _of_car("make")
    model: str = _of_car("model")
    variant: str = _of_car("variant")
    year: int | None = _of_car("year")
    chassis_number: str = _of_car("chassis_number")
    engine_number: str = _asks("engine number")
    registration: str = _asks("registration mark")
    body_style: str = _of_car("body_style")
    colour: str = _asks("colour")
    drive_side: str = _of_car("drive_side")
    condition_band: str = _of_car("condition_band")
    condition_score: float | None = _of_car("condition_score")
    odometer_km: float | None = _of_car("odometer_km")
    options: tuple[str, ...] = _of_car("options")
    matching_numbers: str = _of_car("matching_numbers")
    history_file: bool | None = _of_car("history_file")
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
    sheet_chassis: str = _asks("chassis number that the sheet was filled in for, where the sheet has none")
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
    leave_out_unsure: bool | None = _asks(
        "leave out lines of the grid whose interval spans nought", "yes or no"
    )
    newer: str = _asks("evidence newer than the effective date, and why it may be used")
    gathered_later: str = _asks("why evidence was gathered after the report date, where it was")
    data_quality: str = _asks("how good the records are: what was checked, what is missing")
    outside_factors: str = _asks(
        "environmental, social and governance factors that bear on the value, or none"
    )
    model_governance: str = _asks("who looks after the price model, and how it was tested")


@dataclass(frozen=True)
class Opinion:
    """The valuer's own: the reasoning and the figure, or the range."""

    reconciliation: str = _asks("how the evidence was weighed, in the valuer's words")
    approaches_left_out: str = _asks("which approaches were not used, and why")
    figure: Decimal | None = _asks("the value", "amount")
    low: Decimal | None = _asks("or a range: its low end", "amount")
    high: Decimal | None = _asks("and its high end", "amount")
    most_apart: float | None = _asks(
        "share by which the opinion may stand off the reconciled figure without a reason; .15 when not said",
        "number",
    )
    departure: str = _asks(
        "why the opinion lies outside the ranges, off the reconciled figure or above an asking price"
    )
    uncertainty: str = _asks("material valuation uncertainty, or none")
    earlier_sales: str = _asks("what earlier sales and offers of this car itself say of its value")


@dataclass(frozen=True)
class Valuer:
    """Who answers for the opinion; without ``completed_on`` the document is a draft. Only
    ``completion.complete`` writes that day, with what was certified."""

    name: str = _asks("name of the qualified valuer")
    qualifications: str = _asks("qualifications")
    contact: str = _asks("how to reach the valuer")
    firm: str = _asks("firm that the valuer works for")
    completed_on: date | None = _asks("day the valuer completed the appraisal", "day", act=True)
    certification: dict[str, str] = _asks("what the valuer certified, point by point", "how", act=True)


SECTIONS: Final[dict[str, type]] = {
    "assignment": Assignment, "subject": Subject, "inspection": InspectionNote, "repairs": Repairs,
    "conditions": Conditions, "evidence": EvidenceTerms, "opinion": Opinion, "valuer": Valuer,
}  # fmt: skip

QUESTIONS: Final = {name: {part.name: part for part in fields(kind)} for name, kind in SECTIONS.items()}
"""Every question, by section and name."""

RETIRED: Final = (("evidence", "index_method"), ("evidence", "index_period"))
"""Questions that earlier versions asked: grid, tables and letter now share the one index of the grid."""


def question_of(part: Field[Any]) -> str:
    """What a question asks, without the words to choose from.

    >>> question_of(fields(Subject)[9])
    'side of the steering wheel'
    """
    question: str = part.metadata["asks"]
    return question.partition("; one of: ")[0]


def is_act(section: str, name: str) -> bool:
    """Whether a question is answered by an act of its own alone.

    >>> is_act("valuer", "completed_on"), is_act("valuer", "name")
    (True, False)
    """
    question = QUESTIONS.get(section, {}).get(name)
    return question is not None and bool(question.metadata["act"])
