"""A record that contradicts itself or its evidence does not pass: every rule, by a record that breaks it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import polars as pl
import pytest

from pricing.appraisal.completion import CERTIFICATION, complete
from pricing.appraisal.consistency import RULES, Rule, contradictions
from pricing.appraisal.earlier_sales import TOLD
from pricing.appraisal.evidence import Evidence
from pricing.appraisal.facts import facts_of, finished
from pricing.appraisal.figures import figure_at
from pricing.appraisal.record.record import Appraisal, plain_record, read_record, with_answer
from pricing.appraisal.register import Entry, enter, read, revise
from pricing.errors import AppraisalError
from pricing.store.market import Market

CERTIFIED = {point: f"answered {point}" for point in CERTIFICATION}
AT_SALE = {"assignment.basis": "liquidation value", "assignment.premise": "forced sale"}


def changed(record: Appraisal, answers: dict[str, Any]) -> Appraisal:
    content = plain_record(record)
    for name, answer in answers.items():
        section, _, field = name.partition(".")
        content[section] = {**content[section], field: answer} if field else answer
    return read_record(content)


def photograph(**said: str) -> dict[str, list[dict[str, str]]]:
    return {"photograph": [{"file": "sill.jpg", "digest": "d1", **said}]}


BREAKS: dict[str, dict[str, Any]] = {
    "the effective date is not after the report date": {"assignment.report_date": "1990-01-01"},
    "the inspection is not after the report date": {"inspection.on": "2026-11-03"},
    "the sheet is not filled in after the report date": {"assignment.report_date": "2026-06-19"},
    "the inspection is not after the completion": {"valuer.completed_on": "2026-06-01"},
    "the report is not dated after its completion": {"valuer.completed_on": "2026-11-01"},
    "evidence is gathered by the completion": {"valuer.completed_on": "2020-01-01"},
    "evidence is gathered by the report date": {"evidence.gathered_later": ""},
    "a retrospective value says that it is one": {
        "assignment.retrospective": "", "assignment.report_date": "2029-01-01"},
    "a retrospective value states what it assumes of the car then": {
        "conditions.extraordinary": ["None."], "assignment.report_date": "2029-01-01",
        "inspection.on": "2028-12-01"},
    "evidence newer than the effective date is accounted for": {
        "evidence.newer": "", "inspection.on": "2028-12-01", "assignment.report_date": "2029-01-01"},
    "the evidence is of this car, day and currency": {"subject.year": 1901},
    "the evidence follows the choices on comparables": {},
    "the inspection sheet is of the subject": {"subject.chassis_number": "ANOTHER-1"},
    "a car with a sheet was inspected": {"inspection.manner": "not inspected"},
    "photographs are of the subject": photograph(chassis="ANOTHER-1"),
    "photographs are tied to findings of the sheet": photograph(check="no_such_check"),
    "photographs of findings are taken by the inspection": photograph(
        check="body_paint", taken_on="2026-06-24"),
    "photographs are taken by the report date": photograph(taken_on="2026-11-04"),
    "photographs are taken by the completion": {
        "valuer.completed_on": "2026-11-02", **photograph(taken_on="2026-11-04")},
    "a car seen from photographs has photographs": {"inspection.manner": "from photographs"},
    "basis and premise belong together": {"assignment.premise": "forced sale"},
    "basis and market level belong together": {
        "assignment.basis": "agreed value for insurance", "assignment.market_level": "auction hammer"},
    "basis and definition belong together": {
        "assignment.basis_definition": "What insurer and insured settle on before a loss"},
    "a liquidation is come to by evidence or stated judgement": AT_SALE,
    "a difference of premise says what it rests on": {"assignment.premise_per_cent": "-5"},
    "a model report has no opinion": {"assignment.kind": "model report"},
    "the opinion's ends are in order": {
        "opinion.figure": None, "opinion.low": "8000", "opinion.high": "7000"},
    "the opinion lies within a range of the evidence": {
        "opinion.figure": "460000", "opinion.departure": ""},
    "the opinion is near the reconciled figure": {"opinion.figure": "460000", "opinion.departure": ""},
    "the opinion is not above the lowest asking price": {
        "opinion.figure": "460000", "opinion.departure": ""},
    "earlier sales of the car are spoken of": {},
}  # fmt: skip


def sold_before(entry: Entry, days: int) -> Evidence:
    """The evidence with a sale of the car itself so many days before the effective date."""
    assert entry.evidence is not None and entry.record.assignment.effective_date is not None
    day = entry.record.assignment.effective_date - timedelta(days=days)
    sale = dict.fromkeys(TOLD) | {
        "record_id": "own-1", "event_date": day, "outcome": "sold", "channel": "auction", "source": "Room",
        "source_ref": "lot 7", "amount": Decimal("6100.000"), "currency": "GBP", "price_basis": "hammer",
        "price": Decimal("8123.00"),
    }  # fmt: skip
    return replace(entry.evidence, own_sales=pl.DataFrame([sale]))


def test_old_sales_of_the_car_need_no_word_and_a_word_is_enough(entry: Entry) -> None:
    assert contradictions(entry.record, sold_before(entry, days=4 * 366)) == []
    spoken = changed(entry.record, {"opinion.earlier_sales": "Sold before its restoration"})
    assert contradictions(spoken, sold_before(entry, days=200)) == []
    (found,) = contradictions(entry.record, sold_before(entry, days=200))
    assert "1 sales or offers of this very car in the last 3 years, the last sold on" in found.sentence


def test_a_liquidation_is_held_against_the_evidence_brought_to_its_premise(entry: Entry) -> None:
    assert entry.evidence is not None
    reached = {
        "assignment.premise_per_cent": "-35", "assignment.premise_rests_on": "stated judgement",
        "assignment.premise_change": "Sold within a week, unseen",
        "opinion.departure": "", "opinion.most_apart": "0.01",
    }  # fmt: skip
    assert entry.evidence.comparables is not None
    middle = figure_at(entry.record, entry.evidence, entry.evidence.comparables.mid)
    record = changed(entry.record, AT_SALE | reached | {"opinion.figure": str(round(middle * 13 / 20, 2))})
    near = "the opinion is near the reconciled figure"
    assert near not in [found.rule for found in contradictions(record, entry.evidence)]
    unmoved = changed(record, {"opinion.figure": str(middle)})
    assert near in [found.rule for found in contradictions(unmoved, entry.evidence)]
    before, after = facts_of(entry), facts_of(replace(entry, record=record))
    assert before.model is not None and after.model is not None
    assert after.model.base == before.model.base
    for then, now in zip(before.model.figures, after.model.figures, strict=True):
        assert float(now) == pytest.approx(0.65 * float(then), abs=0.01)


def test_a_full_record_contradicts_nothing(entry: Entry) -> None:
    assert contradictions(entry.record, entry.evidence) == []


def test_every_rule_has_a_record_that_breaks_it() -> None:
    assert [rule.name for rule in RULES] == list(BREAKS)
    assert all(rule.mends for rule in RULES)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_each_contradiction_is_named_with_what_mends_it(entry: Entry, rule: Rule) -> None:
    record = changed(entry.record, BREAKS[rule.name])
    if rule.name == "the evidence follows the choices on comparables":
        choice = {"record_id": "r", "action": "drop", "reason": "wrecked"}
        record = read_record({**plain_record(entry.record), "choice": [choice]})
    if rule.name == "earlier sales of the car are spoken of":
        entry = replace(entry, evidence=sold_before(entry, days=200))
    found = {each.rule: each for each in contradictions(record, entry.evidence)}
    assert rule.name in found
    assert found[rule.name].mends == rule.mends
    assert found[rule.name].sentence
    with pytest.raises(AppraisalError, match="not finished"):
        finished(facts_of(replace(entry, record=replace(record, valuer=entry.record.valuer)))
                 if record.valuer.completed_on is None else
                 replace(facts_of(entry), against=(found[rule.name],)))  # fmt: skip


@pytest.mark.parametrize(
    ("answers", "rule"),
    [
        ({"opinion.figure": "460000"}, "the opinion lies within a range of the evidence"),
        ({"opinion.figure": "460000"}, "the opinion is near the reconciled figure"),
    ],
)
def test_a_reason_mends_a_departure(entry: Entry, answers: dict[str, Any], rule: str) -> None:
    record = changed(entry.record, answers)
    assert rule not in [found.rule for found in contradictions(record, entry.evidence)]
    bare = changed(record, {"opinion.departure": ""})
    assert rule in [found.rule for found in contradictions(bare, entry.evidence)]


def test_photographs_of_this_car_that_day_contradict_nothing(entry: Entry) -> None:
    """Exif's time says no zone, so that a day after is let pass; one without a day says nothing of days."""
    told = {"chassis": "ch 55 NU", "check": "body_paint"}
    for more in ({"taken_on": "2026-06-21"}, {}):
        assert contradictions(changed(entry.record, photograph(**told, **more)), entry.evidence) == []


def test_photographs_newer_than_the_effective_date_are_named(entry: Entry) -> None:
    day = last_day_of(entry) + timedelta(days=2)
    record = changed(entry.record, photograph(taken_on=day.isoformat()))
    assert f"photographs of {day}" in facts_of(replace(entry, record=record)).newer


def last_day_of(entry: Entry) -> date:
    day = entry.record.assignment.effective_date
    assert day is not None
    return day


def test_how_far_an_opinion_may_stand_off_is_a_setting(entry: Entry) -> None:
    rule = "the opinion is near the reconciled figure"

    def broken(most: float) -> bool:
        record = changed(entry.record, {"opinion.departure": "", "opinion.most_apart": most})
        return rule in [found.rule for found in contradictions(record, entry.evidence)]

    assert broken(0.0) and not broken(10.0)


def test_a_sheet_that_names_no_chassis_is_tied_by_hand(entry: Entry) -> None:
    loose = changed(entry.record, {"inspection.sheet_chassis": ""})
    (found,) = contradictions(loose, entry.evidence)
    assert "nothing ties the inspection sheet to chassis number CH-55-Nu" in found.sentence


@pytest.fixture
def ready(market: Market, entry: Entry) -> Callable[[], Entry]:
    """A new entry whose report is dated today."""

    def made() -> Entry:
        assert entry.evidence is not None
        (name,) = enter(market, [(entry.record, entry.evidence)], by="Clerk One")
        return read(market, name)

    return made


def test_completing_is_an_act_of_its_own(market: Market, ready: Callable[[], Entry]) -> None:
    draft = ready()
    with pytest.raises(AppraisalError, match="not a field to fill in"):
        with_answer(draft.record, "valuer.completed_on", "2026-11-28")
    claimed = replace(draft.record, valuer=replace(draft.record.valuer, completed_on=date(2026, 11, 28)))
    for attempt in (
        lambda: enter(market, [(claimed, draft.evidence)], by="Clerk"),
        lambda: revise(market, draft, claimed, draft.evidence, by="Clerk", reason="done"),
    ):
        with pytest.raises(AppraisalError, match="an act of its own"):
            attempt()
    assert complete(market, draft, CERTIFIED, name="Valuer Phi", by="Valuer Phi") == 2
    done = read(market, draft.appraisal_id)
    assert done.record.completed and done.record.valuer.certification == CERTIFIED
    assert facts_of(done).title == "Appraisal"
    other = with_answer(done.record, "opinion.figure", "7351")
    revise(market, done, other, done.evidence, by="Clerk One", reason="changed")
    after = read(market, draft.appraisal_id).record
    assert not after.completed and after.valuer.certification == {}


@pytest.mark.parametrize(
    ("name", "certified", "words"),
    [
        ("Clerk One", CERTIFIED, "only the valuer completes"),
        ("", CERTIFIED, "only the valuer completes"),
        ("Valuer Phi", {**CERTIFIED, "bias": " "}, "not answered: bias"),
        ("Valuer Phi", {**CERTIFIED, "more": "yes"}, "no point 'more'"),
        ("Valuer Phi", {}, "not answered: facts, own"),
    ],
)
def test_nobody_else_and_no_half_certification(
    market: Market, ready: Callable[[], Entry], name: str, certified: dict[str, str], words: str
) -> None:
    with pytest.raises(AppraisalError, match=words):
        complete(market, ready(), certified, name=name, by="Clerk One")


def test_what_contradicts_itself_is_not_completed(market: Market, ready: Callable[[], Entry]) -> None:
    draft = ready()
    for answers, words in (
        ({"opinion.departure": "", "opinion.figure": "460000"}, "outside every range"),
        ({"assignment.scope": ""}, "missing: scope of work"),
    ):
        wrong = replace(draft, record=changed(draft.record, answers))
        with pytest.raises(AppraisalError, match=words):
            complete(market, wrong, CERTIFIED, name="Valuer Phi", by="Valuer Phi")
    tomorrow = date.today() + timedelta(days=1)
    early = replace(draft, record=changed(draft.record, {"assignment.report_date": str(tomorrow)}))
    with pytest.raises(AppraisalError, match="report date"):
        complete(market, early, CERTIFIED, name="Valuer Phi", by="Valuer Phi")
    report = replace(draft, record=changed(draft.record, {"assignment.kind": "model report"}))
    with pytest.raises(AppraisalError, match="never an appraisal"):
        complete(market, report, CERTIFIED, name="Valuer Phi", by="Valuer Phi")
