from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.appraisal.record.record import (
    Appraisal,
    plain_record,
    read_record,
    with_answer,
)
from pricing.appraisal.record.sections import CHANNEL_OF_LEVEL, MARKET_LEVELS, SECTIONS
from pricing.errors import PricingError
from pricing.evidence.comparison.choices import Choice
from pricing.vocabulary import CHANNELS
from tests.appraisals import HOSTILE

ANSWERS: dict[str, st.SearchStrategy[Any]] = {
    "text": st.text(max_size=40).map(str.strip),
    "texts": st.lists(st.text(max_size=20).map(str.strip), max_size=3),
    "day": st.one_of(st.none(), st.dates()),
    "whole": st.one_of(st.none(), st.integers(-100_000, 100_000)),
    "number": st.one_of(st.none(), st.floats(0, 1e9)),
    "amount": st.one_of(st.none(), st.decimals(0, 10**9, places=2)),
    "per cent": st.one_of(st.none(), st.decimals("-94.99", 100, places=2)),
    "yes or no": st.one_of(st.none(), st.booleans()),
    "how": st.dictionaries(st.text(max_size=10), st.text(max_size=20).map(str.strip), max_size=3),
}


@st.composite
def contents(draw: st.DrawFn) -> dict[str, Any]:
    """Any tables that a record can be read from."""
    content: dict[str, Any] = {}
    for name, kind in SECTIONS.items():
        content[name] = {}
        for part in fields(kind):
            allowed = part.metadata["allowed"]
            answer = draw(st.sampled_from(("", *allowed)) if allowed else ANSWERS[part.metadata["kind"]])
            content[name][part.name] = "" if part.name == "currency" else answer
    return content


@settings(max_examples=30)
@given(contents())
def test_a_record_survives_being_written_down(content: dict[str, Any]) -> None:
    record = read_record(content)
    assert read_record(plain_record(record)) == record


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_kept_as_it_is(text: str) -> None:
    record = read_record({"assignment": {"client": text}})
    assert record.assignment.client == text.strip()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"asignment": {}}, r"no section \[asignment\]"),
        ({"assignment": {"customer": "A"}}, "no field assignment.customer"),
        ({"assignment": "text"}, r"\[assignment\] holds lines"),
        ({"assignment": {"basis": "fair guess"}}, "assignment.basis: got 'fair guess', expected one of: "
                                                  "market value"),
        ({"assignment": {"effective_date": "30/06/2026"}}, "assignment.effective_date: got "
                                                           "'30/06/2026', expected a day"),
        ({"assignment": {"currency": "XXQ"}}, "not an ISO 4217 code"),
        ({"assignment": {"premium_per_cent": "NaN"}}, "premium_per_cent: got 'NaN', expected an amount"),
        ({"assignment": {"scope": "x" * 20_001}}, "at most 20,000 characters; got 20,001"),
        ({"subject": {"year": "1966"}}, "subject.year: got '1966', expected a whole number"),
        ({"subject": {"year": True}}, "subject.year: got True"),
        ({"subject": {"options": "overdrive"}}, "subject.options: got 'overdrive', expected a list of texts"),
        ({"subject": {"history_file": "yes"}}, "expected true or false"),
        ({"subject": {"established": ["seen"]}}, "expected lines of the form"),
        ({"opinion": {"figure": -1}}, "opinion.figure: got -1, expected an amount"),
        ({"opinion": {"figure": 1e400}}, "opinion.figure"),
        ({"choice": {"record_id": "r"}}, "choice should be a list"),
        ({"choice": [{"record_id": "r", "action": "drop"}]}, "choice 'r': reason is missing"),
        ({"choice": [{"record_id": "r", "action": "drop", "reason": ""}]}, "needs a reason in writing"),
        ({"choice": [{"record_id": "r", "act": "drop"}]}, "choice 'r': action is missing"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_by_name(content: dict[str, Any], words: str) -> None:
    with pytest.raises(PricingError, match=words):
        read_record(content)


def test_a_field_can_be_answered_alone() -> None:
    record = with_answer(Appraisal(), "opinion.figure", "4600.50")
    record = with_answer(record, "assignment.effective_date", "2026-06-30")
    record = with_answer(record, "subject.established.make", "seen")
    record = with_answer(record, "subject.options", "overdrive; wire_wheels")
    assert record.opinion.figure == Decimal("4600.50")
    assert record.assignment.effective_date == date(2026, 6, 30)
    assert record.subject.established == {"make": "seen"}
    assert record.subject.options == ("overdrive", "wire_wheels")
    assert with_answer(record, "opinion.figure", "").opinion.figure is None


@pytest.mark.parametrize("name", ["client", "assignment", "assignment.", "choice.reason", "a.b.c", ""])
def test_there_is_no_such_field(name: str) -> None:
    with pytest.raises(PricingError, match="no field"):
        with_answer(Appraisal(), name, "x")


def test_choices_are_part_of_the_record() -> None:
    row = {"record_id": "r-1", "action": "adjust", "reason": "sold in haste", "line": "date", "per_cent": -8}
    record = read_record({"choice": [row]})
    assert record.choices == (Choice("r-1", "adjust", "sold in haste", "date", -8.0),)


def test_every_level_is_sold_somewhere() -> None:
    assert set(CHANNEL_OF_LEVEL) == set(MARKET_LEVELS)
    assert set(CHANNEL_OF_LEVEL.values()) == set(CHANNELS)


def test_nothing_of_the_record_is_completed_by_default() -> None:
    record = Appraisal()
    assert not record.completed
    assert record.inspection.manner == ""
    assert record.valuer.completed_on is None
    report = read_record({"assignment": {"kind": "model report"}, "valuer": {"completed_on": "2026-06-30"}})
    assert not report.completed
