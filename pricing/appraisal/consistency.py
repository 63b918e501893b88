"""Whether a record and its evidence agree with each other: rules as data, each with what would mend it.

A rule looks at the record with its photographs and the evidence, and gives a sentence with the figures that
disagree, or nothing. What a record does not say yet is missing (``contents``), never a contradiction.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

import polars as pl

from pricing.appraisal.bases import SALE_PREMISES, basis_of, telling
from pricing.appraisal.earlier_sales import YEARS_ASKED, to_speak_of
from pricing.appraisal.evidence import Evidence
from pricing.appraisal.figures import figure_at, opinion_of, span_of
from pricing.appraisal.record.record import Appraisal
from pricing.intake.duplicates import chassis_key

MOST_APART: Final = 0.15
"""Share by which an opinion may stand off the reconciled figure without a reason. Assumption."""

RETROSPECTIVE_DAYS: Final = 90
"""Days between effective date and report beyond which a value is called retrospective. Assumption."""

NEWER_DAYS: Final = 30
"""Days after the effective date up to which evidence is named by the document alone. Assumption."""

ZONES: Final = timedelta(days=1)
"""A photograph's day is that of its camera's clock, which may be wrong, and Exif's time says no zone: the day
may be one off. Where the camera wrote none, no rule of days speaks of it."""

Broken = Callable[[Appraisal, Evidence], str]


def _never(record: Appraisal) -> bool:
    return False


@dataclass(frozen=True)
class Rule:
    """``name`` says what must hold, ``mends`` what to do where it does not; ``broken`` gives the sentence of
    what disagrees, empty where it holds; a record that is ``excused`` is not asked."""

    name: str
    mends: str
    broken: Broken
    excused: Callable[[Appraisal], object] = _never


@dataclass(frozen=True)
class Contradiction:
    """A rule that does not hold, with the ``sentence`` that says so of this record."""

    rule: str
    sentence: str
    mends: str


def contradictions(record: Appraisal, evidence: Evidence | None) -> list[Contradiction]:
    """The rules that a record and its evidence break; none can be while there is no evidence.

    >>> contradictions(Appraisal(), None)
    []
    """
    if evidence is None:
        return []
    sentences = ((rule, rule.broken(record, evidence)) for rule in RULES if not rule.excused(record))
    return [Contradiction(rule.name, sentence, rule.mends) for rule, sentence in sentences if sentence]


_DAYS: Final[dict[str, Callable[[Appraisal, Evidence], date | None]]] = {
    "the effective date": lambda record, _: record.assignment.effective_date,
    "the report date": lambda record, _: record.assignment.report_date,
    "the inspection": lambda record, _: record.inspection.on,
    "the last entry of the sheet": lambda _, evidence: _last_entry(evidence),
    "the gathering of the evidence": lambda _, evidence: evidence.gathered_on,
    "the completion": lambda record, _: record.valuer.completed_on,
}


def _last_entry(evidence: Evidence) -> date | None:
    last = None if evidence.findings is None else evidence.findings.sheet["seen_on"].max()
    return last if isinstance(last, date) else None


def _not_after(first: str, second: str) -> Broken:
    """What is wrong where one of ``_DAYS`` is after another."""

    def broken(record: Appraisal, evidence: Evidence) -> str:
        day, other = (_DAYS[name](record, evidence) for name in (first, second))
        late = day is not None and other is not None and day > other
        return f"{first} ({day}) is after {second} ({other})" if late else ""

    return broken


def newer_evidence(record: Appraisal, evidence: Evidence, days: int = 0) -> list[str]:
    """What is newer than the effective date by more than so many days, each with its day: a document names
    it, a valuer accounts for it. Sales never are: only those known by the effective date are looked at."""
    at = record.assignment.effective_date
    dated = {
        "the inspection": record.inspection.on,
        "entries of the inspection sheet": _last_entry(evidence),
        "photographs": max((shot.taken_on for shot in record.photographs if shot.taken_on), default=None),
        "repair prices": None if evidence.budget is None else evidence.budget.on,
        "the exchange rate": evidence.conversion.rate_date,
    }
    return [f"{name} of {day}" for name, day in dated.items() if day and at and (day - at).days > days]


def _retrospective(record: Appraisal) -> bool:
    at, reported = record.assignment.effective_date, record.assignment.report_date
    return at is not None and reported is not None and (reported - at).days > RETROSPECTIVE_DAYS


def _retrospective_stated(record: Appraisal, _: Evidence) -> str:
    terms = record.assignment
    if not _retrospective(record) or terms.retrospective:
        return ""
    return f"the value holds at {terms.effective_date} and is reported on {terms.report_date}, long after"


def _retrospective_assumed(record: Appraisal, evidence: Evidence) -> str:
    """A car seen only afterwards is assumed to have been so then."""
    newer = newer_evidence(record, evidence)
    stated = (text.casefold().rstrip(". ") for text in record.conditions.extraordinary)
    if not _retrospective(record) or not newer or not all(text in ("", "none") for text in stated):
        return ""
    return f"a retrospective value rests on {newer[0]}, and no extraordinary assumption says so"


def _newer_named(record: Appraisal, evidence: Evidence) -> str:
    newer = newer_evidence(record, evidence, NEWER_DAYS)
    return f"newer than the effective date and not accounted for: {'; '.join(newer)}" if newer else ""


def _evidence_of_record(record: Appraisal, evidence: Evidence) -> str:
    car, valuation = record.subject, evidence.valuation
    subject = {"make": car.make, "model": car.model, "variant": car.variant or None, "year": car.year}
    for name, value in subject.items():
        priced = valuation.car[name]
        if priced != value:
            own = "nothing" if value in (None, "") else value
            return f"the evidence is of {name} {'none' if priced is None else priced}, the record says {own}"
    if record.assignment.effective_date not in (None, valuation.as_of):
        return f"the evidence holds at {valuation.as_of}, not at {record.assignment.effective_date}"
    if record.assignment.currency not in ("", evidence.conversion.currency):
        return f"the evidence is in {evidence.conversion.currency}, not in {record.assignment.currency}"
    return ""


def _sheet_of_subject(record: Appraisal, evidence: Evidence) -> str:
    if evidence.findings is None:
        return ""
    sheet, car = evidence.findings.car, record.subject
    for name in ("make", "model", "year"):
        own = getattr(car, name)
        if own not in (None, "") and sheet.get(name) not in (None, "", own):
            return f"the inspection sheet is of {name} {sheet[name]}, the subject of {own}"
    number = str(sheet.get("chassis_number") or record.inspection.sheet_chassis)
    if not car.chassis_number or (number and chassis_key(number) == chassis_key(car.chassis_number)):
        return ""
    if not number:
        return f"nothing ties the inspection sheet to chassis number {car.chassis_number}"
    return f"the inspection sheet is of chassis number {number}, the subject of {car.chassis_number}"


def _photographs_of_subject(record: Appraisal, _: Evidence) -> str:
    """Photographs that were taken in for a car of another chassis number."""
    own, shots = record.subject.chassis_number, enumerate(record.photographs, 1)
    key = chassis_key(own)
    other = {nth: shot.chassis for nth, shot in shots if shot.chassis and chassis_key(shot.chassis) != key}
    if not own or not other:
        return ""
    whose = ", ".join(dict.fromkeys(other.values()))
    return f"{_photographs(list(other), 'was')} taken in for chassis number {whose}, the subject is {own}"


def _photographs_of_findings(record: Appraisal, evidence: Evidence) -> str:
    """Photographs that are tied to a check which the sheet does not have."""
    sheet = None if evidence.findings is None else evidence.findings.sheet
    known = set() if sheet is None or "check" not in sheet.columns else set(sheet["check"])
    loose = {nth: repr(shot.check) for nth, shot in enumerate(record.photographs, 1)
             if shot.check not in {"", *known}}  # fmt: skip
    if not loose:
        return ""
    why = "there is no inspection sheet" if sheet is None else "the sheet has no such finding"
    checks = ", ".join(dict.fromkeys(loose.values()))
    return f"{_photographs(list(loose), 'is')} tied to the finding {checks}, and {why}"


def _photographs_by(name: str, *, of_findings: bool = False) -> Broken:
    """Photographs, or those of findings, that were taken after one of ``_DAYS``."""

    def broken(record: Appraisal, evidence: Evidence) -> str:
        day = _DAYS[name](record, evidence)
        late = {
            nth: shot.taken_on
            for nth, shot in enumerate(record.photographs, 1)
            if day and shot.taken_on and shot.taken_on - day > ZONES and (shot.check or not of_findings)
        }
        if not late:
            return ""
        return f"{_photographs(list(late), 'was')} taken on {max(late.values())}, after {name} ({day})"

    return broken


def _photographs(numbers: Sequence[int], verb: str) -> str:
    """Photographs by number, with ``was`` or ``is`` of as many.

    >>> _photographs([2], "was"), _photographs([1, 2, 5], "is")
    ('photograph 2 was', 'photographs 1, 2 and 5 are')
    """
    if len(numbers) == 1:
        return f"photograph {numbers[0]} {verb}"
    others = ", ".join(map(str, numbers[:-1]))
    return f"photographs {others} and {numbers[-1]} {'were' if verb == 'was' else 'are'}"


def _basis_and_premise(record: Appraisal, _: Evidence) -> str:
    terms, basis = record.assignment, basis_of(record.assignment.basis)
    if basis is None or terms.premise in ("", *basis.premises):
        return ""
    return f"{terms.basis} does not go with the premise {terms.premise}: {' or '.join(basis.premises)} does"


def _basis_and_level(record: Appraisal, _: Evidence) -> str:
    terms, basis = record.assignment, basis_of(record.assignment.basis)
    if basis is None or terms.market_level in ("", *basis.levels):
        return ""
    return (
        f"{terms.basis} is what a buyer pays, all in; the level {terms.market_level} leaves the premium out"
    )


def _basis_and_definition(record: Appraisal, _: Evidence) -> str:
    basis, defined = record.assignment.basis, telling(record.assignment.basis_definition)
    if not defined or basis in ("", "other", *defined):
        return ""
    return f"the basis is {basis}, and its definition is one of {' or '.join(sorted(defined))}"


def _liquidation_reached(record: Appraisal, _: Evidence) -> str:
    terms = record.assignment
    explained = terms.premise_per_cent is not None and terms.premise_change
    if terms.premise not in SALE_PREMISES or explained:
        return ""
    return f"recorded sales are no {terms.premise}, and nothing says by how much a figure differs, and why"


def _premise_explained(record: Appraisal, _: Evidence) -> str:
    terms = record.assignment
    if terms.premise_per_cent is None or (terms.premise and terms.premise_rests_on and terms.premise_change):
        return ""
    return f"figures are brought by {terms.premise_per_cent}% to a premise, without what that rests on"


def _own_sales_spoken_of(record: Appraisal, evidence: Evidence) -> str:
    own = to_speak_of(record, evidence.own_sales)
    if own.is_empty() or record.opinion.earlier_sales:
        return ""
    last = own.row(0, named=True)
    return (
        f"the records hold {own.height} sales or offers of this very car in the last {YEARS_ASKED} years, "
        f"the last {last['outcome']} on {last['event_date']}, and the opinion does not speak of them"
    )


def _ends_in_order(record: Appraisal, _: Evidence) -> str:
    low, high = record.opinion.low, record.opinion.high
    return f"the opinion's low end {low} is above its high end {high}" if low and high and low > high else ""


def _within_a_range(record: Appraisal, evidence: Evidence) -> str:
    opinion = opinion_of(record)
    spans = (span_of(record, evidence, each) for each in (evidence.valuation, evidence.comparables))
    ranges = [span.figures for span in spans if span is not None]
    if (
        opinion is None
        or not ranges
        or any(opinion[1] >= low and opinion[0] <= high for low, _, high in ranges)
    ):
        return ""
    listed = " and ".join(f"{low:,.0f} to {high:,.0f}" for low, _, high in ranges)
    return f"the opinion {_amounts(*opinion)} lies outside every range of the evidence ({listed})"


def _near_reconciled(record: Appraisal, evidence: Evidence) -> str:
    opinion, middle = opinion_of(record), reconciled(record, evidence)
    most = MOST_APART if record.opinion.most_apart is None else record.opinion.most_apart
    if opinion is None or middle is None:
        return ""
    apart = abs(float((opinion[0] + opinion[1]) / 2 / middle) - 1.0)
    if apart <= most:
        return ""
    return (
        f"the opinion {_amounts(*opinion)} is {apart:.0%} off the reconciled figure {middle:,.0f}; "
        f"{most:.0%} is the most without a reason"
    )


def _below_asking(record: Appraisal, evidence: Evidence) -> str:
    """An asking price is a ceiling: nobody has to pay more for a like car."""
    opinion, comparables = opinion_of(record), evidence.comparables
    if opinion is None or comparables is None:
        return ""
    asking = comparables.offers.filter(pl.col("meaning") == "ceiling")["adjusted_price"].min()
    lowest = None if asking is None else figure_at(record, evidence, Decimal(str(asking)))
    if lowest is None or opinion[0] <= lowest:
        return ""
    return (
        f"the opinion {_amounts(*opinion)} is above the lowest asking price of a like car, {lowest:,.0f} "
        "adjusted"
    )


def reconciled(record: Appraisal, evidence: Evidence) -> Decimal | None:
    """The figure that the evidence reconciles to, at the record's level and in its currency: the middle of
    the comparable sales, or of the price model where there are none."""
    base = evidence.valuation.mid if evidence.comparables is None else evidence.comparables.mid
    return None if base is None else figure_at(record, evidence, base)


def _amounts(low: Decimal, high: Decimal) -> str:
    return f"{low:,.0f}" if low == high else f"{low:,.0f} to {high:,.0f}"


def _where(broken: bool, sentence: str) -> str:
    return sentence if broken else ""


def _model_report(record: Appraisal) -> bool:
    return record.assignment.kind == "model report"


def _departure(record: Appraisal) -> str:
    return record.opinion.departure


_REASON: Final = "say why in opinion.departure, or mend the figure"

RULES: Final = (
    Rule("the effective date is not after the report date", "mend one of the two dates",
         _not_after("the effective date", "the report date")),
    Rule("the inspection is not after the report date", "mend inspection.on, or date the report later",
         _not_after("the inspection", "the report date")),
    Rule("the sheet is not filled in after the report date", "date the report later",
         _not_after("the last entry of the sheet", "the report date")),
    Rule("the inspection is not after the completion", "mend inspection.on",
         _not_after("the inspection", "the completion")),
    Rule("the report is not dated after its completion", "mend assignment.report_date",
         _not_after("the report date", "the completion")),
    Rule("evidence is gathered by the completion", "complete it anew",
         _not_after("the gathering of the evidence", "the completion")),
    Rule("evidence is gathered by the report date",
         "date the report on the day of gathering or later, or say why in evidence.gathered_later",
         _not_after("the gathering of the evidence", "the report date"),
         lambda record: record.evidence.gathered_later),
    Rule("a retrospective value says that it is one", "state it in assignment.retrospective",
         _retrospective_stated, _model_report),
    Rule("a retrospective value states what it assumes of the car then",
         "name the assumption in conditions.extraordinary", _retrospective_assumed),
    Rule("evidence newer than the effective date is accounted for", "account for it in evidence.newer",
         _newer_named, lambda record: record.evidence.newer),
    Rule("the evidence is of this car, day and currency", "gather the evidence anew", _evidence_of_record),
    Rule("the evidence follows the choices on comparables", "gather the evidence anew",
         lambda record, evidence: _where(
             evidence.comparables is not None and evidence.comparables.choices != record.choices,
             "the choices on comparables in the record are not those that the evidence was gathered with")),
    Rule("the inspection sheet is of the subject",
         "name the sheet of this car, or say in inspection.sheet_chassis what it was filled in for",
         _sheet_of_subject),
    Rule("a car with a sheet was inspected", "mend inspection.manner, or take the sheet out",
         lambda record, evidence: _where(
             evidence.findings is not None and record.inspection.manner == "not inspected",
             "an inspection sheet was filled in, and the record says that the car was not inspected")),
    Rule("photographs are of the subject",
         "take them out, or say that they show this car: `pricing appraise photographs change --chassis`",
         _photographs_of_subject),
    Rule("photographs are tied to findings of the sheet",
         "tie them to a check of the sheet, or to none", _photographs_of_findings),
    Rule("photographs of findings are taken by the inspection",
         "mend inspection.on, or tie them to no finding",
         _photographs_by("the inspection", of_findings=True)),
    Rule("photographs are taken by the report date",
         "date the report later, or take them out; a camera's clock that was wrong is named in the caption",
         _photographs_by("the report date")),
    Rule("photographs are taken by the completion", "complete it anew", _photographs_by("the completion")),
    Rule("a car seen from photographs has photographs", "add them, or mend inspection.manner",
         lambda record, _: _where(
             record.inspection.manner == "from photographs" and not record.photographs,
             "the record says that the car was seen from photographs, and has none")),
    Rule("basis and premise belong together", "mend assignment.basis or assignment.premise",
         _basis_and_premise),
    Rule("basis and market level belong together", "mend assignment.market_level", _basis_and_level),
    Rule("basis and definition belong together", "mend assignment.basis_definition or assignment.basis",
         _basis_and_definition),
    Rule("a liquidation is come to by evidence or stated judgement",
         "say it in assignment.premise_per_cent, premise_rests_on and premise_change", _liquidation_reached),
    Rule("a difference of premise says what it rests on",
         "answer assignment.premise, premise_rests_on and premise_change", _premise_explained),
    Rule("a model report has no opinion", "take the opinion out, or make it an appraisal",
         lambda record, _: _where(
             _model_report(record) and opinion_of(record) is not None,
             "a model report holds no valuer's opinion")),
    Rule("the opinion's ends are in order", "mend opinion.low or opinion.high", _ends_in_order),
    Rule("the opinion lies within a range of the evidence", _REASON, _within_a_range, _departure),
    Rule("the opinion is near the reconciled figure", _REASON, _near_reconciled, _departure),
    Rule("the opinion is not above the lowest asking price", _REASON, _below_asking, _departure),
    Rule("earlier sales of the car are spoken of", "speak of them in opinion.earlier_sales",
         _own_sales_spoken_of, _model_report),
)  # fmt: skip
"""Every rule, in the order of the record."""
