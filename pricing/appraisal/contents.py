"""What an appraisal must hold: each required content with its name, where the requirement comes from, and the
part of the document that shows it. A missing one stops the document.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from pricing.appraisal.evidence import Evidence
from pricing.appraisal.record import Appraisal
from pricing.errors import AppraisalError

OUTLINE: Final = "USPAP Standards 7 and 8 (personal property), outline of a written report"
"""Source of the contents; nothing here says that a document complies with it: that is the valuer's to say."""

BASES_SOURCE: Final = "International Valuation Standards 2025, bases of value"
PRACTICE: Final = "common practice, no source"

CERTIFICATION: Final = (
    "the statements of fact are true and correct to the best of my knowledge",
    "the analyses, opinions and conclusions are my own, impartial and unbiased",
    "my present or prospective interest in the car, or that I have none",
    "my services about this car in the last three years, or that there were none",
    "that I have no bias about the car or the parties",
    "that my engagement and fee do not depend on a value or an outcome reported",
    "whether I have inspected the car in person",
    "who gave significant help, by name, or that nobody did",
)
"""What a certification states: printed as empty fields, for the valuer to fill in and sign by hand."""

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


def _said(name: str) -> Holds:
    section, field = name.split(".")
    return lambda record, _: getattr(getattr(record, section), field) not in ("", None, (), {})


def _identified(record: Appraisal, _: Evidence | None) -> bool:
    return any(getattr(record.subject, name) for name in _IDENTITY)


def _established(record: Appraisal, _: Evidence | None) -> bool:
    """Every identity field that is given says how it was established."""
    given = ["make", "model", "year", *(name for name in _IDENTITY if getattr(record.subject, name))]
    return all(record.subject.established.get(name) for name in given)


def _inspection(record: Appraisal, _: Evidence | None) -> bool:
    note = record.inspection
    if note.manner == "not inspected":
        return bool(note.extent)
    return bool(note.manner and note.by and note.on and note.extent)


def _opinion(record: Appraisal, _: Evidence | None) -> bool:
    low, high = record.opinion.low, record.opinion.high
    return (record.opinion.figure is not None) != (low is not None and high is not None)


def _premium(record: Appraisal, _: Evidence | None) -> bool:
    hammer = record.assignment.market_level == "auction hammer"
    return not hammer or record.assignment.premium_per_cent is not None


def _evidence(record: Appraisal, evidence: Evidence | None) -> bool:
    """A range or comparables: a document about neither has no evidence to stand on."""
    return evidence is not None and (evidence.valuation.mid is not None or evidence.comparables is not None)


ASSIGNMENT: Final = "Assignment"
SUBJECT: Final = "Subject and identity"
CONDITION: Final = "Condition"
MARKET: Final = "Market"
RECONCILIATION: Final = "Reconciliation and opinion"
CONDITIONS: Final = "Assumptions, limits and cautions"

CONTENTS: Final = (
    Content("client", OUTLINE, ASSIGNMENT, False, _said("assignment.client")),
    Content("intended users", OUTLINE, ASSIGNMENT, True, _said("assignment.intended_users")),
    Content("intended use", OUTLINE, ASSIGNMENT, False, _said("assignment.intended_use")),
    Content("make", OUTLINE, SUBJECT, False, _said("subject.make")),
    Content("model", OUTLINE, SUBJECT, False, _said("subject.model")),
    Content("year", OUTLINE, SUBJECT, False, _said("subject.year")),
    Content("chassis number, engine number or registration", OUTLINE, SUBJECT, True, _identified),
    Content("how identity was established", OUTLINE, SUBJECT, True, _established),
    Content("interest valued", OUTLINE, ASSIGNMENT, True, _said("assignment.interest")),
    Content("basis of value", BASES_SOURCE, ASSIGNMENT, False, _said("assignment.basis")),
    Content("definition of the basis", OUTLINE, ASSIGNMENT, True, _said("assignment.basis_definition")),
    Content("source of that definition", OUTLINE, ASSIGNMENT, True, _said("assignment.basis_source")),
    Content("market level", PRACTICE, ASSIGNMENT, False, _said("assignment.market_level")),
    Content("buyer's premium", PRACTICE, ASSIGNMENT, False, _premium),
    Content("currency", PRACTICE, ASSIGNMENT, False, _said("assignment.currency")),
    Content("tax status", PRACTICE, ASSIGNMENT, True, _said("assignment.tax_status")),
    Content("exposure time", OUTLINE, ASSIGNMENT, True, _said("assignment.exposure_time")),
    Content("effective date", OUTLINE, ASSIGNMENT, False, _said("assignment.effective_date")),
    Content("report date", OUTLINE, ASSIGNMENT, False, _said("assignment.report_date")),
    Content("scope of work", OUTLINE, ASSIGNMENT, True, _said("assignment.scope")),
    Content("what was not done", OUTLINE, ASSIGNMENT, True, _said("assignment.not_done")),
    Content("significant help", OUTLINE, ASSIGNMENT, True, _said("assignment.helpers")),
    Content("inspection, or its absence", OUTLINE, CONDITION, True, _inspection),
    Content("market evidence", OUTLINE, MARKET, False, _evidence),
    Content("reconciliation", OUTLINE, RECONCILIATION, True, _said("opinion.reconciliation")),
    Content("approaches left out", OUTLINE, RECONCILIATION, True, _said("opinion.approaches_left_out")),
    Content("opinion: a figure or a range", OUTLINE, RECONCILIATION, True, _opinion),
    Content("extraordinary assumptions", OUTLINE, CONDITIONS, True, _said("conditions.extraordinary")),
    Content("hypothetical conditions", OUTLINE, CONDITIONS, True, _said("conditions.hypothetical")),
    Content("limits", OUTLINE, CONDITIONS, True, _said("assignment.limits")),
    Content("valuer", OUTLINE, RECONCILIATION, True, _said("valuer.name")),
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
    kind = Content("kind of document", PRACTICE, ASSIGNMENT, False, _said("assignment.kind"))
    return lacking if record.assignment.kind else [kind, *lacking]


def complete(record: Appraisal, evidence: Evidence | None) -> Evidence:
    """The evidence of a record that holds all that its document must.

    Raises:
        AppraisalError: it does not, the message naming every missing content; or it contradicts itself.
    """
    lacking = missing(record, evidence)
    if lacking or evidence is None:
        names = ", ".join(content.name for content in lacking)
        raise AppraisalError(f"the document cannot be written; missing: {names}")
    low, high = record.opinion.low, record.opinion.high
    if record.assignment.kind == "model report" and (record.opinion.figure, low, high) != (None,) * 3:
        raise AppraisalError("a model report holds no valuer's opinion; take it out, or make it an appraisal")
    if low is not None and high is not None and low > high:
        raise AppraisalError(f"the opinion's low end {low} is above its high end {high}")
    effective, reported = record.assignment.effective_date, record.assignment.report_date
    if effective is not None and reported is not None and effective > reported:
        raise AppraisalError(f"the effective date {effective} is after the report date {reported}")
    return evidence
