"""What an appraisal must hold: each required content with its name, where the requirement comes from, and the
part of the document that shows it. While one is missing the document is a draft that cannot be completed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from pricing.appraisal.evidence import Evidence
from pricing.appraisal.record.record import Appraisal, answer_at
from pricing.intake.duplicates import is_searchable

OUTLINE: Final = (
    "USPAP 2024, Standard 8 (personal property); IVS 2025, 106; Red Book 2025, VPS 6 (from memory)"
)
"""Source of the contents; nothing here says that a document complies with it: that is the valuer's to say."""

TERMS: Final = "USPAP 2024, Standard 7; IVS 2025, 101; Red Book 2025, VPS 1 (from memory)"
BASES_SOURCE: Final = "IVS 2025, 102, bases of value; Red Book 2025, VPS 2 (from memory)"
LEVEL: Final = "USPAP 2024, Standards Rule 7-3, the appropriate market (from memory)"
APPROACHES: Final = "USPAP 2024, Standard 7; IVS 2025, 103; Red Book 2025, VPS 3 (from memory)"
DATA_SOURCE: Final = "IVS 2025, 104, data and inputs (from memory)"
MODEL_SOURCE: Final = "IVS 2025, 105, valuation models; Red Book 2025, VPS 5 (from memory)"
INSPECTION_SOURCE: Final = "USPAP 2024, Standard 7; Red Book 2025, VPS 4 (from memory)"
OWN_SALES: Final = "USPAP 2024, Standards Rule 7-5, analysis of earlier sales of the subject (from memory)"
OUTSIDE: Final = "IVS 2025, 101 and 104, factors of environment, society and governance (from memory)"
STATUS: Final = "IVS 2025, 101; Red Book 2025, VPS 1, identity and status of the valuer (from memory)"
PRACTICE: Final = "common practice, no source"

_IDENTITY: Final = ("chassis_number", "engine_number", "registration")

Holds = Callable[[Appraisal, Evidence | None], bool]


@dataclass(frozen=True)
class Content:
    """One required content: its ``name``, its ``source``, the heading of the part that shows it, whether it
    is ``judgement`` (which a model report leaves to a valuer), and whether a record ``holds`` it."""

    name: str
    source: str
    part: str
    judgement: bool
    holds: Holds


def _has(name: str) -> Holds:
    return lambda record, _: answer_at(record, name) not in ("", None, (), {})


def _established(record: Appraisal, _: Evidence | None) -> bool:
    """Every identity field that is given says how it was established."""
    stated = ["make", "model", "year", *(name for name in _IDENTITY if getattr(record.subject, name))]
    return all(record.subject.established.get(name) for name in stated)


def _inspection(record: Appraisal, _: Evidence | None) -> bool:
    note = record.inspection
    seen = note.manner == "not inspected" or (note.manner and note.by and note.on)
    return bool(note.extent and seen)


def _opinion(record: Appraisal, _: Evidence | None) -> bool:
    low, high = record.opinion.low, record.opinion.high
    return (record.opinion.figure is not None) != (low is not None and high is not None)


def _own_sales(record: Appraisal, evidence: Evidence | None) -> bool:
    """Earlier sales of the car were looked for, where it has a chassis number to look by."""
    searchable = is_searchable(record.subject.chassis_number)
    return evidence is None or not searchable or evidence.own_sales is not None


def _evidence(record: Appraisal, evidence: Evidence | None) -> bool:
    """A range or comparables: a document about neither has no evidence to stand on."""
    return evidence is not None and (evidence.valuation.mid is not None or evidence.comparables is not None)


ASSIGNMENT: Final = "Assignment"
SUBJECT: Final = "Subject and identity"
CONDITION: Final = "Condition"
MARKET: Final = "Market"
MODEL: Final = "Price model"
RECONCILIATION: Final = "Reconciliation and opinion"
CONDITIONS: Final = "Assumptions, limits and cautions"

CONTENTS: Final = (
    Content("client", TERMS, ASSIGNMENT, False, _has("assignment.client")),
    Content("intended users", TERMS, ASSIGNMENT, True, _has("assignment.intended_users")),
    Content("intended use", TERMS, ASSIGNMENT, False, _has("assignment.intended_use")),
    Content("make", OUTLINE, SUBJECT, False, _has("subject.make")),
    Content("model", OUTLINE, SUBJECT, False, _has("subject.model")),
    Content("year", OUTLINE, SUBJECT, False, _has("subject.year")),
    Content("chassis number, engine number or registration", OUTLINE, SUBJECT, True,
            lambda record, _: any(getattr(record.subject, name) for name in _IDENTITY)),
    Content("how identity was established", OUTLINE, SUBJECT, True, _established),
    Content("interest valued", TERMS, ASSIGNMENT, True, _has("assignment.interest")),
    Content("basis of value", BASES_SOURCE, ASSIGNMENT, False, _has("assignment.basis")),
    Content("premise of value", BASES_SOURCE, ASSIGNMENT, True, _has("assignment.premise")),
    Content("definition of the basis", BASES_SOURCE, ASSIGNMENT, True, _has("assignment.basis_definition")),
    Content("source of that definition", BASES_SOURCE, ASSIGNMENT, True, _has("assignment.basis_source")),
    Content("market level", LEVEL, ASSIGNMENT, False, _has("assignment.market_level")),
    Content("reason for the market level", PRACTICE, ASSIGNMENT, True, _has("assignment.level_reason")),
    Content("buyer's premium", PRACTICE, ASSIGNMENT, False,
            lambda record, _: (record.assignment.market_level != "auction hammer"
                               or record.assignment.premium_per_cent is not None)),
    Content("currency", TERMS, ASSIGNMENT, False, _has("assignment.currency")),
    Content("tax status", PRACTICE, ASSIGNMENT, True, _has("assignment.tax_status")),
    Content("exposure time", OUTLINE, ASSIGNMENT, True, _has("assignment.exposure_time")),
    Content("effective date", OUTLINE, ASSIGNMENT, False, _has("assignment.effective_date")),
    Content("report date", OUTLINE, ASSIGNMENT, False, _has("assignment.report_date")),
    Content("scope of work", TERMS, ASSIGNMENT, True, _has("assignment.scope")),
    Content("what was not done", OUTLINE, ASSIGNMENT, True, _has("assignment.not_done")),
    Content("significant help", OUTLINE, ASSIGNMENT, True, _has("assignment.helpers")),
    Content("services before", OUTLINE, ASSIGNMENT, True, _has("assignment.prior_services")),
    Content("conflicts of interest", TERMS, ASSIGNMENT, True, _has("assignment.conflicts")),
    Content("basis of the fee", TERMS, ASSIGNMENT, True, _has("assignment.fee_basis")),
    Content("liability", TERMS, CONDITIONS, True, _has("assignment.liability")),
    Content("inspection, or its absence", INSPECTION_SOURCE, CONDITION, True, _inspection),
    Content("market evidence", OUTLINE, MARKET, False, _evidence),
    Content("search for earlier sales of the car", OWN_SALES, SUBJECT, False, _own_sales),
    Content("environmental, social and governance factors", OUTSIDE, MARKET, True,
            _has("evidence.outside_factors")),
    Content("quality of the data", DATA_SOURCE, MARKET, True, _has("evidence.data_quality")),
    Content("governance of the price model", MODEL_SOURCE, MODEL, True, _has("evidence.model_governance")),
    Content("reconciliation", APPROACHES, RECONCILIATION, True, _has("opinion.reconciliation")),
    Content("approaches left out", APPROACHES, RECONCILIATION, True, _has("opinion.approaches_left_out")),
    Content("opinion: a figure or a range", OUTLINE, RECONCILIATION, True, _opinion),
    Content("material valuation uncertainty", OUTLINE, RECONCILIATION, True, _has("opinion.uncertainty")),
    Content("extraordinary assumptions", OUTLINE, CONDITIONS, True, _has("conditions.extraordinary")),
    Content("hypothetical conditions", OUTLINE, CONDITIONS, True, _has("conditions.hypothetical")),
    Content("limits", OUTLINE, CONDITIONS, True, _has("assignment.limits")),
    Content("valuer", OUTLINE, RECONCILIATION, True, _has("valuer.name")),
    Content("qualifications of the valuer", STATUS, RECONCILIATION, True, _has("valuer.qualifications")),
)  # fmt: skip
"""In the order of the outline. The certification is always printed, as empty fields."""


def required(record: Appraisal) -> tuple[Content, ...]:
    """The contents that a record of its kind must hold; a model report leaves judgement to a valuer."""
    alone = record.assignment.kind == "model report"
    return tuple(content for content in CONTENTS if not (alone and content.judgement))


def missing(record: Appraisal, evidence: Evidence | None) -> list[Content]:
    """The required contents that a record and its evidence do not hold.

    >>> [content.name for content in missing(Appraisal(), None)][:2]
    ['kind of document', 'client']
    """
    lacking = [content for content in required(record) if not content.holds(record, evidence)]
    kind = Content("kind of document", PRACTICE, ASSIGNMENT, False, _has("assignment.kind"))
    return lacking if record.assignment.kind else [kind, *lacking]
