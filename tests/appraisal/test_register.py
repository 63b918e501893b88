"""What was written stays written: revisions, the log, the same numbers when the market has moved on."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.appraisal import register
from pricing.appraisal.completion import CERTIFICATION, complete
from pricing.appraisal.evidence_json import serialise
from pricing.appraisal.facts import facts_of
from pricing.appraisal.record.record import changes, with_answer
from pricing.appraisal.register import Entry, enter, history, listed, needs_evidence, read, revise
from pricing.errors import AppraisalError, MarketError
from pricing.records.contract import COLUMNS
from pricing.reports.report import report
from pricing.store.market import Market
from pricing.words.language.locale import LocaleWords
from tests.appraisals import evidence_of


def test_an_entry_reads_back_as_it_was(market: Market, entry: Entry) -> None:
    again = read(market, entry.appraisal_id)
    assert again.record == entry.record
    assert again.evidence_digest == entry.evidence_digest
    assert serialise(again.evidence) == serialise(entry.evidence)
    assert (again.revision, again.made_by, again.reason) == (1, "Clerk One", "entered")


def test_a_revision_keeps_the_one_before_and_says_who_changed_what(market: Market, entry: Entry) -> None:
    (name,) = enter(market, [(entry.record, entry.evidence)], by="Clerk One")
    first = read(market, name)
    record = with_answer(with_answer(first.record, "opinion.figure", "7500"), "assignment.client", "Beta")
    assert not needs_evidence(first, record)
    assert revise(market, first, record, first.evidence, by="Valuer Two", reason="after a call") == 2
    assert read(market, name).record.opinion.figure == 7500
    assert read(market, name, 1).record == first.record
    assert read(market, name).evidence_digest == first.evidence_digest
    log = history(market, name).filter(pl.col("revision") == 2)
    rows = log.select("made_by", "reason", "field", "old", "new").rows()
    assert set(rows) == {
        ("Valuer Two", "after a call", "assignment.client", "Client Alpha", "Beta"),
        ("Valuer Two", "after a call", "opinion.figure", "7350", "7500"),
    }
    trail = market.audit().filter(pl.col("subject") == name)
    assert [json.loads(detail)["by"] for detail in trail["detail"]] == ["Clerk One", "Valuer Two"]


def test_a_revision_freezes_its_evidence_once(
    market: Market, entry: Entry, monkeypatch: pytest.MonkeyPatch
) -> None:
    (name,) = enter(market, [(entry.record, entry.evidence)], by="Clerk One")
    before, frozen = read(market, name), list[Any]()

    def counted(evidence: Any) -> str:
        frozen.append(evidence)
        return serialise(evidence)

    monkeypatch.setattr(register, "serialise", counted)
    record = with_answer(before.record, "assignment.client", "Beta")
    revise(market, before, record, before.evidence, by="Valuer Two", reason="after a call")
    assert frozen == [before.evidence]


def test_the_same_numbers_years_later_from_a_market_that_has_moved_on(
    market: Market, entry: Entry, tmp_path: Path
) -> None:
    path = tmp_path / "later.duckdb"
    shutil.copy(market.path, path)
    later = Market.open(path, create=False)
    words = LocaleWords.of("en_GB")
    before = report(facts_of(read(later, entry.appraisal_id)), words)
    digest = later.digest()
    frame, _ = simulate_market(300, 12, seed=20, makes=9)
    dearer = frame.select(name for name in COLUMNS if name != "batch_id").with_columns(
        amount=(pl.col("amount") * 3).cast(pl.Decimal(18, 3)), source_ref=pl.format("later {}", "source_ref"),
        record_id=pl.format("later {}", "record_id"),
    )  # fmt: skip
    dearer.write_parquet(tmp_path / "later.parquet")
    assert later.load([tmp_path / "later.parquet"]).accepted > 0
    assert later.digest() != digest
    after = report(facts_of(read(later, entry.appraisal_id)), words)
    assert after == before
    moved = evidence_of(later, entry.record, inspected=True)
    assert serialise(moved.comparables) != serialise(entry.evidence and entry.evidence.comparables)


def test_evidence_that_was_altered_is_refused(market: Market, entry: Entry, tmp_path: Path) -> None:
    path = tmp_path / "altered.duckdb"
    shutil.copy(market.path, path)
    with duckdb.connect(str(path)) as opened:
        opened.execute("UPDATE appraisal_evidence SET content = replace(content, '2', '3')")
    with pytest.raises(AppraisalError, match="altered"):
        read(Market.open(path, create=False), entry.appraisal_id)


def test_what_a_valuer_completed_does_not_stay_so_when_it_is_changed(market: Market, entry: Entry) -> None:
    (name,) = enter(market, [(entry.record, entry.evidence)], by="Clerk One")
    first = read(market, name)
    complete(market, first, dict.fromkeys(CERTIFICATION, "so"), name="Valuer Phi", by="Valuer Two")
    second = read(market, name)
    assert second.record.completed
    assert facts_of(second).title == "Appraisal"
    other = with_answer(second.record, "opinion.figure", "9999")
    revise(market, second, other, second.evidence, by="Clerk One", reason="changed")
    third = read(market, name)
    assert not third.record.completed
    assert facts_of(third).title == "Draft appraisal"
    day = str(second.record.valuer.completed_on)
    assert ("valuer.completed_on", day, "") in history(market, name).select("field", "old", "new").rows()
    complete(market, third, dict.fromkeys(CERTIFICATION, "so"), name="Valuer Phi", by="Valuer Two")
    assert read(market, name).record.completed


def test_two_hands_at_once_do_not_write_over_each_other(market: Market, entry: Entry) -> None:
    (name,) = enter(market, [(entry.record, entry.evidence)], by="Clerk One")
    first = read(market, name)
    one = with_answer(first.record, "assignment.client", "One")
    two = with_answer(first.record, "assignment.client", "Two")
    revise(market, first, one, first.evidence, by="A", reason="x")
    with pytest.raises(MarketError, match="has had a revision meanwhile"):
        revise(market, first, two, first.evidence, by="B", reason="x")
    assert read(market, name).record.assignment.client == "One"


def test_nothing_changed_is_nothing_to_keep(market: Market, entry: Entry) -> None:
    with pytest.raises(AppraisalError, match="nothing is changed"):
        revise(market, entry, entry.record, entry.evidence, by="A", reason="x")


@pytest.mark.parametrize(("by", "reason"), [("", "x"), (" ", "x"), ("A", " ")])
def test_nobody_and_no_reason_keep_nothing(market: Market, entry: Entry, by: str, reason: str) -> None:
    with pytest.raises(AppraisalError, match="needs the name"):
        enter(market, [(entry.record, None)], by=by, reason=reason)


def test_a_record_may_be_kept_before_there_is_evidence(market: Market, entry: Entry) -> None:
    half = with_answer(entry.record, "subject.model", "")
    (name,) = enter(market, [(half, None)], by="Clerk One")
    found = read(market, name)
    assert found.evidence is None
    assert needs_evidence(found, entry.record)
    with pytest.raises(AppraisalError, match="there is no evidence yet"):
        facts_of(found)


def test_the_list_shows_the_last_revision_of_each(market: Market, entry: Entry) -> None:
    rows = listed(market)
    assert rows["appraisal_id"].is_unique().all()
    row = rows.filter(pl.col("appraisal_id") == entry.appraisal_id).row(0, named=True)
    assert row["client"] == "Client Alpha"
    assert row["effective_date"] == entry.record.assignment.effective_date
    assert row["car"].startswith(f"{entry.record.subject.year} {entry.record.subject.make}")


def test_there_is_no_such_appraisal(market: Market, small_market: Market, entry: Entry) -> None:
    for held, name, revision in ((market, "appraisal-9999", None), (market, entry.appraisal_id, 99),
                                 (small_market, "appraisal-0001", None)):  # fmt: skip
        with pytest.raises(MarketError, match="holds no appraisal"):
            read(held, name, revision)
    assert listed(small_market).is_empty()
    assert history(small_market, "appraisal-0001").is_empty()
    gone = replace(entry, appraisal_id="appraisal-9999")
    with pytest.raises(MarketError, match="there is no appraisal"):
        revise(market, gone, with_answer(entry.record, "assignment.client", "x"), None, by="A", reason="x")


def test_changes_name_every_field_that_differs(entry: Entry) -> None:
    other = with_answer(
        with_answer(entry.record, "subject.options", "overdrive; tow_bar"), "opinion.figure", ""
    )
    assert [name for name, _, _ in changes(entry.record, other)] == ["subject.options", "opinion.figure"]
