"""A valuer's choices on comparables stay: in the record, and in the evidence frozen with it."""

from dataclasses import replace

import polars as pl
import pytest

from pricing.appraisal.consistency import contradictions
from pricing.appraisal.facts import facts_of
from pricing.appraisal.grid import Decision, found_sales, with_choices
from pricing.appraisal.register import Entry, needs_evidence
from pricing.errors import PricingError
from pricing.store.market import Market
from tests.appraisals import evidence_of


def test_choices_on_the_grid_reach_the_frozen_evidence(market: Market, entry: Entry) -> None:
    before = facts_of(entry).grid
    at = entry.record.assignment.effective_date
    assert at is not None
    car = entry.record.subject
    found = found_sales(market.sales(as_of=at), f"{car.make} {car.model}", at)
    assert 0 < found.height <= 20
    new = next(record for record in found["record_id"] if record not in before["record_id"].to_list())
    record = with_choices(
        entry,
        [Decision("drop", "2"), Decision("weigh", "1", None, 50.0), Decision("adjust", "3", "date", -5.0),
         Decision("add", new)],
        "looked at one by one",
    )  # fmt: skip
    assert needs_evidence(entry, record)
    assert [found.rule for found in contradictions(record, entry.evidence)]
    gathered = replace(entry, record=record, evidence=evidence_of(market, record, inspected=True))
    assert contradictions(record, gathered.evidence) == []
    after = facts_of(gathered)
    assert before["record_id"][1] not in after.grid["record_id"].to_list()
    assert new in after.grid["record_id"].to_list()
    line = after.lines.filter(pl.col("record_id") == before["record_id"][2], pl.col("line") == "date")
    assert line["per_cent"].item() == pytest.approx(-5.0)
    assert "own judgement: looked at one by one" in line["source"].item()


@pytest.mark.parametrize(
    ("decision", "reason", "words"),
    [
        (Decision("drop", "99"), "why", "no comparable 99; the grid has 1 to"),
        (Decision("drop", "0"), "why", "no comparable 0"),
        (Decision("drop", "1"), " ", "needs a reason in writing"),
        (Decision("weigh", "1", None, 0.0), "why", "drop the sale instead"),
        (Decision("weigh", "1", None, float("nan")), "why", "drop the sale instead"),
        (Decision("shift", "1"), "why", "a choice is one of"),
    ],
)
def test_a_choice_that_makes_no_sense_is_refused(
    entry: Entry, decision: Decision, reason: str, words: str
) -> None:
    with pytest.raises(PricingError, match=words):
        with_choices(entry, [decision], reason)


def test_a_search_of_nothing_finds_nothing(market: Market, entry: Entry) -> None:
    at = entry.record.assignment.effective_date
    assert at is not None
    assert found_sales(market.sales(), " ", at).is_empty()
    assert found_sales(market.sales(), "no such words anywhere", at).is_empty()
