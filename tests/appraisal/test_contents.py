"""What a record must hold, one by one."""

from dataclasses import replace
from typing import Any

import pytest

from pricing.appraisal.contents import CONTENTS, Content, missing, required
from pricing.appraisal.facts import facts_of, finished
from pricing.appraisal.record.record import Appraisal, plain_record, read_record
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError

BLANKS: dict[str, dict[str, Any]] = {
    "client": {"assignment.client": ""},
    "intended users": {"assignment.intended_users": ""},
    "intended use": {"assignment.intended_use": " "},
    "make": {"subject.make": ""},
    "model": {"subject.model": ""},
    "year": {"subject.year": None},
    "chassis number, engine number or registration": {"subject.chassis_number": ""},
    "how identity was established": {"subject.established": {"make": "seen"}},
    "interest valued": {"assignment.interest": ""},
    "basis of value": {"assignment.basis": ""},
    "definition of the basis": {"assignment.basis_definition": ""},
    "source of that definition": {"assignment.basis_source": ""},
    "market level": {"assignment.market_level": ""},
    "buyer's premium": {"assignment.market_level": "auction hammer"},
    "premise of value": {"assignment.premise": ""},
    "reason for the market level": {"assignment.level_reason": ""},
    "services before": {"assignment.prior_services": ""},
    "conflicts of interest": {"assignment.conflicts": ""},
    "basis of the fee": {"assignment.fee_basis": ""},
    "liability": {"assignment.liability": ""},
    "quality of the data": {"evidence.data_quality": ""},
    "governance of the price model": {"evidence.model_governance": ""},
    "material valuation uncertainty": {"opinion.uncertainty": ""},
    "currency": {"assignment.currency": ""},
    "tax status": {"assignment.tax_status": ""},
    "exposure time": {"assignment.exposure_time": ""},
    "effective date": {"assignment.effective_date": None},
    "report date": {"assignment.report_date": None},
    "scope of work": {"assignment.scope": ""},
    "what was not done": {"assignment.not_done": ""},
    "significant help": {"assignment.helpers": ""},
    "inspection, or its absence": {"inspection.manner": ""},
    "reconciliation": {"opinion.reconciliation": ""},
    "approaches left out": {"opinion.approaches_left_out": ""},
    "opinion: a figure or a range": {"opinion.figure": None},
    "extraordinary assumptions": {"conditions.extraordinary": []},
    "hypothetical conditions": {"conditions.hypothetical": []},
    "limits": {"assignment.limits": ""},
    "valuer": {"valuer.name": ""},
    "qualifications of the valuer": {"valuer.qualifications": ""},
    "environmental, social and governance factors": {"evidence.outside_factors": ""},
    "search for earlier sales of the car": {},
}


def without(record: Appraisal, blanks: dict[str, Any]) -> Appraisal:
    content = plain_record(record)
    for name, answer in blanks.items():
        section, field = name.split(".")
        content[section][field] = answer
    return read_record(content)


def test_a_full_record_lacks_nothing(entry: Entry) -> None:
    assert missing(entry.record, entry.evidence) == []
    assert finished(facts_of(entry)).lacking == ()


@pytest.mark.parametrize("content", CONTENTS, ids=lambda content: content.name)
def test_each_missing_content_stops_the_document_with_its_name(entry: Entry, content: Content) -> None:
    if content.name == "market evidence":
        lacking = replace(entry, evidence=None)
    elif content.name == "search for earlier sales of the car":
        lacking = replace(entry, evidence=replace(entry.evidence, own_sales=None))  # type: ignore[type-var]
    else:
        lacking = replace(entry, record=without(entry.record, BLANKS[content.name]))
    assert [found.name for found in missing(lacking.record, lacking.evidence)] == [content.name]
    if content.name == "market evidence":
        with pytest.raises(AppraisalError, match="there is no evidence yet"):
            facts_of(lacking)
    elif content.name != "currency" and content.name != "market level":
        with pytest.raises(AppraisalError, match=f"missing: {content.name}$"):
            finished(facts_of(lacking))


@pytest.mark.parametrize(
    ("blanks", "name"),
    [
        ({"inspection.by": ""}, "inspection, or its absence"),
        ({"inspection.on": None}, "inspection, or its absence"),
        ({"inspection.extent": ""}, "inspection, or its absence"),
        ({"inspection.manner": "not inspected", "inspection.extent": ""}, "inspection, or its absence"),
        ({"opinion.low": "7000", "opinion.high": "8000"}, "opinion: a figure or a range"),
        ({"opinion.figure": None, "opinion.low": "7000"}, "opinion: a figure or a range"),
        ({"subject.registration": "AB 12"}, "how identity was established"),
    ],
)
def test_half_an_answer_is_none(entry: Entry, blanks: dict[str, Any], name: str) -> None:
    record = without(entry.record, blanks)
    assert [found.name for found in missing(record, entry.evidence)] == [name]


def test_the_absence_of_an_inspection_needs_its_reason_alone(entry: Entry) -> None:
    blanks = {"inspection.manner": "not inspected", "inspection.by": "", "inspection.on": None}
    assert missing(without(entry.record, blanks), entry.evidence) == []


def test_a_model_report_leaves_judgement_to_a_valuer(entry: Entry) -> None:
    record = without(
        entry.record,
        {"assignment.kind": "model report", "opinion.figure": None, "opinion.reconciliation": "",
         "valuer.name": "", "inspection.manner": "", "assignment.scope": ""},
    )  # fmt: skip
    assert missing(record, entry.evidence) == []
    names = {content.name for content in required(record)}
    assert {"client", "intended use", "basis of value", "effective date", "market evidence"} <= names
    assert not names & {"reconciliation", "opinion: a figure or a range", "valuer"}


def test_a_kind_must_be_said(entry: Entry) -> None:
    record = without(entry.record, {"assignment.kind": ""})
    assert [found.name for found in missing(record, entry.evidence)] == ["kind of document"]
