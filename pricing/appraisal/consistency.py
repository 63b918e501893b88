"""Whether a record and its evidence agree with each other: rules as data, each with what would mend it.

A rule looks at the record with its photographs (``photograph_rules``) and the evidence, and gives a sentence
with the figures that disagree, or nothing. What a record does not say yet is missing (``contents``), never a
contradiction.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import polars as pl

from pricing.appraisal.bases import SALE_PREMISES, basis_of, telling
from pricing.appraisal.earlier_sales import YEARS_ASKED, to_speak_of
from pricing.appraisal.evidence import Evidence
from pricing.appraisal.figures import figure_at, opinion_of
from pricing.appraisal.newer_evidence import newer_evidence
from pricing.appraisal.photograph_rules import (
    photographs_of_findings,
    photographs_of_subject,
    photographs_there,
    taken_by_completion,
    taken_by_inspection,
    taken_by_report,
)
from pricing.appraisal.record.record import Appraisal
from pricing.intake.duplicates import chassis_key

MOST_APART: Final = 0.15
"""Share by which an opinion may stand off the reconciled figure without a reason. Assumption."""

RETROSPECTIVE_DAYS: Final = 90
"""Days between effective date and report beyond which a value is called retrospective. Assumption."""

NEWER_DAYS: Final = 30
"""Days after the effective date up to which evidence is named by the document alone. Assumption."""

Broken = Callable[[Appraisal, Evidence], str]


@dataclass(frozen=True)
class Rule:
    """``name`` says what must hold, ``mends`` what to do where it does not; ``broken`` gives the sentence of
    what disagrees, empty where it holds."""

    name: str
    mends: str
    broken: Broken


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
    found = ((rule, rule.broken(record, evidence)) for rule in RULES)
    return [Contradiction(rule.name, sentence, rule.mends) for rule, sentence in found if sentence]


def _before(first: str, day: date | None, second: str, other: date | None) -> str:
    """What is wrong where the first day is after the second."""
    if day is None or other is None or day <= other:
        return ""
    return f"{first} ({day}) is after {second} ({other})"


def _report_after_effective(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    return _before("the effective date", asked.effective_date, "the report date", asked.report_date)


def _inspected_by_report(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    return _before("the inspection", record.inspection.on, "the report date", asked.report_date)


def _looks_by_report(record: Appraisal, evidence: Evidence) -> str:
    if evidence.findings is None:
        return ""
    last = evidence.findings.sheet["seen_on"].max()
    day = last if isinstance(last, date) else None
    return _before("the last entry of the sheet", day, "the report date", record.assignment.report_date)


def _inspected_by_completion(record: Appraisal, _: Evidence) -> str:
    return _before("the inspection", record.inspection.on, "the completion", record.valuer.completed_on)


def _reported_by_completion(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    return _before("the report date", asked.report_date, "the completion", record.valuer.completed_on)


def _gathered_by_completion(record: Appraisal, evidence: Evidence) -> str:
    return _before(
        "the gathering of the evidence", evidence.gathered_on, "the completion", record.valuer.completed_on
    )


def _gathered_by_report(record: Appraisal, evidence: Evidence) -> str:
    if record.evidence.gathered_later:
        return ""
    day = record.assignment.report_date
    return _before("the gathering of the evidence", evidence.gathered_on, "the report date", day)


def _retrospective(record: Appraisal) -> bool:
    asked = record.assignment
    days = (asked.effective_date, asked.report_date)
    return None not in days and (days[1] - days[0]).days > RETROSPECTIVE_DAYS  # type: ignore[operator]


def _retrospective_said(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    if not _retrospective(record) or asked.retrospective or asked.kind == "model report":
        return ""
    return f"the value holds at {asked.effective_date} and is reported on {asked.report_date}, long after"


def _retrospective_assumed(record: Appraisal, evidence: Evidence) -> str:
    """A car seen only afterwards is assumed to have been so then."""
    newer = newer_evidence(record, evidence)
    if not _retrospective(record) or not newer or not all(map(_none, record.conditions.extraordinary)):
        return ""
    return f"a retrospective value rests on {newer[0]}, and no extraordinary assumption says so"


def _newer_named(record: Appraisal, evidence: Evidence) -> str:
    if record.evidence.newer:
        return ""
    named = newer_evidence(record, evidence, NEWER_DAYS)
    return f"newer than the effective date and not accounted for: {'; '.join(named)}" if named else ""


def _evidence_of_record(record: Appraisal, evidence: Evidence) -> str:
    car, valuation = record.subject, evidence.valuation
    said = {"make": car.make, "model": car.model, "variant": car.variant or None, "year": car.year}
    for name, value in said.items():
        if valuation.car[name] != value:
            found = "none" if valuation.car[name] is None else valuation.car[name]
            said_so = "nothing" if value in (None, "") else value
            return f"the evidence is of {name} {found}, the record says {said_so}"
    if record.assignment.effective_date not in (None, valuation.as_of):
        return f"the evidence holds at {valuation.as_of}, not at {record.assignment.effective_date}"
    if record.assignment.currency not in ("", evidence.conversion.currency):
        return f"the evidence is in {evidence.conversion.currency}, not in {record.assignment.currency}"
    return ""


def _choices_in_evidence(record: Appraisal, evidence: Evidence) -> str:
    found = evidence.comparables
    if found is None or found.choices == record.choices:
        return ""
    return "the choices on comparables in the record are not those that the evidence was gathered with"


def _sheet_of_subject(record: Appraisal, evidence: Evidence) -> str:
    if evidence.findings is None:
        return ""
    sheet, car = evidence.findings.car, record.subject
    for name in ("make", "model", "year"):
        own = getattr(car, name)
        if own not in (None, "") and sheet.get(name) not in (None, "", own):
            return f"the inspection sheet is of {name} {sheet[name]}, the subject of {own}"
    if not car.chassis_number:
        return ""
    given = str(sheet.get("chassis_number") or record.inspection.sheet_chassis)
    if not given:
        return f"nothing ties the inspection sheet to chassis number {car.chassis_number}"
    if chassis_key(given) != chassis_key(car.chassis_number):
        return f"the inspection sheet is of chassis number {given}, the subject of {car.chassis_number}"
    return ""


def _sheet_seen(record: Appraisal, evidence: Evidence) -> str:
    if evidence.findings is None or record.inspection.manner != "not inspected":
        return ""
    return "an inspection sheet was filled in, and the record says that the car was not inspected"


def _basis_and_premise(record: Appraisal, _: Evidence) -> str:
    asked, basis = record.assignment, basis_of(record.assignment.basis)
    if basis is None or not asked.premise or asked.premise in basis.premises:
        return ""
    return f"{asked.basis} does not go with the premise {asked.premise}: {' or '.join(basis.premises)} does"


def _basis_and_level(record: Appraisal, _: Evidence) -> str:
    asked, basis = record.assignment, basis_of(record.assignment.basis)
    if basis is None or not asked.market_level or asked.market_level in basis.levels:
        return ""
    return (
        f"{asked.basis} is what a buyer pays, all in; the level {asked.market_level} leaves the premium out"
    )


def _basis_and_definition(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    told = telling(asked.basis_definition)
    if not told or asked.basis in ("", "other") or asked.basis in told:
        return ""
    return f"the basis is {asked.basis}, and its definition is one of {' or '.join(sorted(told))}"


def _liquidation_reached(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    if asked.premise not in SALE_PREMISES or None not in (
        asked.premise_per_cent,
        asked.premise_change or None,
    ):
        return ""
    return f"recorded sales are no {asked.premise}, and nothing says by how much a figure differs, and why"


def _premise_explained(record: Appraisal, _: Evidence) -> str:
    asked = record.assignment
    if asked.premise_per_cent is None or (asked.premise and asked.premise_rests_on and asked.premise_change):
        return ""
    return f"figures are brought by {asked.premise_per_cent}% to a premise, without what that rests on"


def _own_sales_spoken_of(record: Appraisal, evidence: Evidence) -> str:
    found = to_speak_of(record, evidence.own_sales)
    if found.is_empty() or record.opinion.earlier_sales or record.assignment.kind == "model report":
        return ""
    last = found.row(0, named=True)
    return (
        f"the records hold {found.height} sales or offers of this very car in the last {YEARS_ASKED} years, "
        f"the last {last['outcome']} on {last['event_date']}, and the opinion does not speak of them"
    )


def _no_opinion_of_a_model(record: Appraisal, _: Evidence) -> str:
    if record.assignment.kind != "model report" or opinion_of(record) is None:
        return ""
    return "a model report holds no valuer's opinion"


def _ends_in_order(record: Appraisal, _: Evidence) -> str:
    low, high = record.opinion.low, record.opinion.high
    return f"the opinion's low end {low} is above its high end {high}" if low and high and low > high else ""


def _within_a_range(record: Appraisal, evidence: Evidence) -> str:
    opinion = opinion_of(record)
    spans = _spans(record, evidence)
    if opinion is None or not spans or record.opinion.departure:
        return ""
    if any(opinion[1] >= low and opinion[0] <= high for low, _, high in spans):
        return ""
    told = " and ".join(f"{low:,.0f} to {high:,.0f}" for low, _, high in spans)
    return f"the opinion {_shown(opinion)} lies outside every range of the evidence ({told})"


def _near_reconciled(record: Appraisal, evidence: Evidence) -> str:
    opinion, middle = opinion_of(record), reconciled(record, evidence)
    if opinion is None or middle is None or record.opinion.departure:
        return ""
    stated = record.opinion.most_apart
    most = MOST_APART if stated is None else stated
    apart = abs(float((opinion[0] + opinion[1]) / 2 / middle) - 1.0)
    if apart <= most:
        return ""
    return (
        f"the opinion {_shown(opinion)} is {apart:.0%} off the reconciled figure {middle:,.0f}; {most:.0%} "
        "is the most without a reason"
    )


def _below_asking(record: Appraisal, evidence: Evidence) -> str:
    """An asking price is a ceiling: nobody has to pay more for a like car."""
    opinion, found = opinion_of(record), evidence.comparables
    if opinion is None or found is None or record.opinion.departure:
        return ""
    asking = found.offers.filter(pl.col("meaning") == "ceiling")["adjusted_price"].drop_nulls()
    if asking.is_empty():
        return ""
    lowest = figure_at(record, evidence, Decimal(str(asking.min())))
    if opinion[0] <= lowest:
        return ""
    return (
        f"the opinion {_shown(opinion)} is above the lowest asking price of a like car, {lowest:,.0f} "
        "adjusted"
    )


def reconciled(record: Appraisal, evidence: Evidence) -> Decimal | None:
    """The figure that the evidence reconciles to, at the record's level and in its currency: the middle of
    the comparable sales, or of the price model where there are none."""
    found, mid = evidence.comparables, evidence.valuation.mid
    base = mid if found is None else found.mid
    return None if base is None else figure_at(record, evidence, base)


def _spans(record: Appraisal, evidence: Evidence) -> list[tuple[Decimal, Decimal, Decimal]]:
    """Low, mid and high of each approach that has a range."""
    told = [evidence.valuation, evidence.comparables]
    ranges = [(part.low, part.mid, part.high) for part in told if part is not None]
    return [
        (
            figure_at(record, evidence, low),
            figure_at(record, evidence, mid),
            figure_at(record, evidence, high),
        )
        for low, mid, high in ranges
        if low is not None and mid is not None and high is not None
    ]


def _shown(opinion: tuple[Decimal, Decimal]) -> str:
    low, high = opinion
    return f"{low:,.0f}" if low == high else f"{low:,.0f} to {high:,.0f}"


def _none(text: str) -> bool:
    return text.casefold().rstrip(". ") in ("", "none")


_REASON: Final = "say why in opinion.departure, or mend the figure"

RULES: Final = (
    Rule("the effective date is not after the report date", "mend one of the two dates",
         _report_after_effective),
    Rule("the inspection is not after the report date", "mend inspection.on, or date the report later",
         _inspected_by_report),
    Rule("the sheet is not filled in after the report date", "date the report later", _looks_by_report),
    Rule("the inspection is not after the completion", "mend inspection.on", _inspected_by_completion),
    Rule("the report is not dated after its completion", "mend assignment.report_date",
         _reported_by_completion),
    Rule("evidence is gathered by the completion", "complete it anew", _gathered_by_completion),
    Rule("evidence is gathered by the report date",
         "date the report on the day of gathering or later, or say why in evidence.gathered_later",
         _gathered_by_report),
    Rule("a retrospective value says that it is one", "state it in assignment.retrospective",
         _retrospective_said),
    Rule("a retrospective value states what it assumes of the car then",
         "name the assumption in conditions.extraordinary", _retrospective_assumed),
    Rule("evidence newer than the effective date is accounted for", "account for it in evidence.newer",
         _newer_named),
    Rule("the evidence is of this car, day and currency", "gather the evidence anew", _evidence_of_record),
    Rule("the evidence follows the choices on comparables", "gather the evidence anew", _choices_in_evidence),
    Rule("the inspection sheet is of the subject",
         "name the sheet of this car, or say in inspection.sheet_chassis what it was filled in for",
         _sheet_of_subject),
    Rule("a car with a sheet was inspected", "mend inspection.manner, or take the sheet out", _sheet_seen),
    Rule("photographs are of the subject",
         "take them out, or say that they show this car: `pricing appraise photographs change --chassis`",
         photographs_of_subject),
    Rule("photographs are tied to findings of the sheet",
         "tie them to a check of the sheet, or to none", photographs_of_findings),
    Rule("photographs of findings are taken by the inspection",
         "mend inspection.on, or tie them to no finding", taken_by_inspection),
    Rule("photographs are taken by the report date",
         "date the report later, or take them out; a camera's clock that was wrong is named in the caption",
         taken_by_report),
    Rule("photographs are taken by the completion", "complete it anew", taken_by_completion),
    Rule("a car seen from photographs has photographs", "add them, or mend inspection.manner",
         photographs_there),
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
         _no_opinion_of_a_model),
    Rule("the opinion's ends are in order", "mend opinion.low or opinion.high", _ends_in_order),
    Rule("the opinion lies within a range of the evidence", _REASON, _within_a_range),
    Rule("the opinion is near the reconciled figure", _REASON, _near_reconciled),
    Rule("the opinion is not above the lowest asking price", _REASON, _below_asking),
    Rule("earlier sales of the car are spoken of", "speak of them in opinion.earlier_sales",
         _own_sales_spoken_of),
)  # fmt: skip
"""Every rule, in the order of the record."""
