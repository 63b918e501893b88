"""Photographs of an appraisal: kept once, frozen with the revision, tied, ordered, told in the log."""

import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pricing.appraisal.record.form import read_form, write_form
from pricing.appraisal.record.photographs import Photograph, on_cover, with_added, with_changes, without
from pricing.appraisal.record.record import Appraisal, plain_record, read_record
from pricing.appraisal.register import Entry, enter, history, needs_evidence, read, revise, taken_in_for
from pricing.errors import AppraisalError, FileError, MarketError
from pricing.operations.appraisal_photographs import of_sheet, taken_in, with_those_of_sheet, write_originals
from pricing.operations.backups import back_up, restore
from pricing.store.market import Market
from pricing.store.salvage import altered_evidence, salvage
from pricing.untrusted.photographs import ReadPhotograph, read_photograph
from tests.drawn_photographs import drawn_photograph


def shot(mark: int = 0) -> ReadPhotograph:
    return read_photograph(drawn_photograph(mark=mark, orientation=6), f"{mark}.jpg")


@pytest.fixture(scope="module")
def entered(market: Market, entry: Entry) -> Entry:
    """The full record with two photographs, the second of a finding."""
    one, two = shot(1), shot(2)
    photographs = with_added((), one, "/car/front.jpg", chassis="CH-55-Nu", caption="Front", cover=True)
    photographs = with_added(photographs, two, "sill.jpg", check="body_paint", caption="Paint")
    record = replace(entry.record, photographs=photographs)
    (name,) = enter(market, [(record, entry.evidence)], by="Clerk One", photographs=[one, two])
    return read(market, name)


def test_they_are_read_back_with_what_their_bytes_tell(market: Market, entered: Entry) -> None:
    first, second = entered.record.photographs
    assert (first.file, first.caption, first.cover, second.check) == (
        "front.jpg",
        "Front",
        True,
        "body_paint",
    )
    assert first.taken_on == date(2026, 6, 20) and first.removed[0] == "place"
    assert set(entered.shown) == {first.digest, second.digest}
    assert market.photographs.original(first.digest) == drawn_photograph(mark=1, orientation=6)
    assert market.photographs.described([first.digest]).row(0, named=True)["width"] == 320


def test_the_record_is_asked_and_the_bytes_are_believed(market: Market, entered: Entry) -> None:
    first, *others = entered.record.photographs
    lying = replace(first, taken_on=date(1999, 1, 1), removed=(), caption="Front, again")
    record = replace(entered.record, photographs=(lying, *others))
    (name,) = enter(market, [(record, None)], by="Clerk One")
    kept = read(market, name).record.photographs[0]
    assert (kept.taken_on, kept.removed, kept.caption) == (first.taken_on, first.removed, "Front, again")
    unknown = replace(entered.record, photographs=(replace(first, digest="0" * 64),))
    with pytest.raises(AppraisalError, match=r"front\.jpg: its bytes are not in the market; add it"):
        enter(market, [(unknown, None)], by="Clerk One")


def test_the_same_bytes_are_kept_once_and_shown_once(market: Market, entered: Entry) -> None:
    same = read_photograph(drawn_photograph(mark=1, orientation=6), "other name.jpg")
    with pytest.raises(AppraisalError, match=r"other name\.jpg is photograph 1 already"):
        with_added(entered.record.photographs, same, "other name.jpg")
    record = replace(entered.record, photographs=with_added((), same, "other name.jpg"))
    enter(market, [(record, None)], by="Clerk One", photographs=[same])
    with duckdb.connect(str(market.path), read_only=True) as opened:
        rows = opened.execute("SELECT digest FROM photographs").fetchall()
    assert len(rows) == len(set(rows)) and (same.digest,) in rows


def test_a_revision_shows_its_own_photographs_for_ever(market: Market, entered: Entry) -> None:
    assert not needs_evidence(entered, replace(entered.record, photographs=()))
    changed = with_changes(entered.record.photographs, 2, cover=True, place=1, caption="Paint, door")
    number = revise(
        market,
        entered,
        replace(entered.record, photographs=changed),
        entered.evidence,
        by="B",
        reason="order",
    )
    later = read(market, entered.appraisal_id)
    assert (number, later.revision, later.evidence_digest) == (2, 2, entered.evidence_digest)
    assert [one.caption for one in later.record.photographs] == ["Paint, door", "Front"]
    assert on_cover(later.record.photographs) == 1
    gone = replace(later.record, photographs=without(later.record.photographs, 2))
    revise(market, later, gone, later.evidence, by="B", reason="taken out")
    first = read(market, entered.appraisal_id, 1)
    assert first.record == entered.record and first.shown == entered.shown
    log = history(market, entered.appraisal_id).filter(revision=3)
    front = entered.record.photographs[0].digest[:12]
    assert log.select("field", "old", "new").rows() == [(f"photograph.{front}", "2; front.jpg; Front", "")]


def test_only_one_is_on_the_cover_and_numbers_are_those_shown() -> None:
    shots = tuple(Photograph(f"{name}.jpg", name) for name in "abc")
    with pytest.raises(AppraisalError, match="no photograph 4: the appraisal has 1 to 3"):
        with_changes(shots, 4, caption="x")
    with pytest.raises(AppraisalError, match="place 0: there are 3 photographs"):
        with_changes(shots, 1, place=0)
    with pytest.raises(AppraisalError, match="choose one"):
        read_record({"photograph": [{"file": "a", "cover": True}, {"file": "b", "cover": True}]})
    with pytest.raises(AppraisalError, match="its caption has more than 500 characters"):
        with_changes(shots, 2, caption="x" * 501)
    with pytest.raises(AppraisalError, match="60 photographs at most"):
        read_record({"photograph": [{"file": f"{nth}.jpg"} for nth in range(61)]})
    assert [one.file for one in with_changes(shots, 3, place=1)] == ["c.jpg", "a.jpg", "b.jpg"]
    assert with_changes(shots, 2) == shots


@pytest.mark.parametrize(
    "row", [{"file": 7}, {"file": "a", "cover": "yes"}, {"digest": ""}, {"file": "a", "taken_on": "soon"},
            {"file": "a", "removed": [1]}, {"name": "a"}, "a"],
)  # fmt: skip
def test_a_row_that_makes_no_sense_is_named(row: object) -> None:
    with pytest.raises(AppraisalError, match="photograph"):
        read_record({"photograph": [row]})


def test_a_photograph_of_another_car_s_appraisal_is_known_to_be(market: Market, entered: Entry) -> None:
    first = entered.record.photographs[0]
    assert taken_in_for(market, first.digest, "OTHER-9") == "CH-55-Nu"
    assert taken_in_for(market, "f" * 64, "OTHER-9") == "OTHER-9"


def test_a_form_names_files_that_are_read_and_holds_what_is_kept(
    market: Market, tmp_path: Path, entered: Entry
) -> None:
    (tmp_path / "front.jpg").write_bytes(drawn_photograph(mark=9))
    form = tmp_path / "car.toml"
    form.write_text('[subject]\nchassis_number = "X 1"\n[[photograph]]\nfile = "front.jpg"\ncover = true\n')
    record, read_ones = taken_in(read_form(form), market)
    (kept,) = record.photographs
    assert (kept.file, kept.chassis, kept.cover) == ("front.jpg", "X 1", True)
    assert [one.digest for one in read_ones] == [kept.digest]
    write_form(entered.record, form)
    again = read_form(form)
    told = [replace(one, taken_on=None, removed=()) for one in entered.record.photographs]
    assert list(again.photographs) == told and taken_in(again, market) == (again, [])
    form.write_text('[[photograph]]\nfile = "none.jpg"\n')
    with pytest.raises(FileError, match=r"none\.jpg cannot be read: it does not exist"):
        taken_in(read_form(form), market)


def test_plain_values_come_back_as_they_were(entered: Entry) -> None:
    assert read_record(plain_record(entered.record)) == entered.record
    assert read_record({}) == Appraisal()


def test_those_of_the_sheet_are_tied_to_their_findings(entry: Entry, tmp_path: Path) -> None:
    found = None if entry.evidence is None else entry.evidence.findings
    assert found is not None and entry.evidence is not None
    (tmp_path / "paint.jpg").write_bytes(drawn_photograph(mark=77))
    named = pl.when(check="body_paint").then(pl.lit("paint.jpg")).otherwise("photo").alias("photo")
    sheet = replace(found, sheet=found.sheet.with_columns(named))
    record = replace(
        entry.record, inspection=replace(entry.record.inspection, sheet=str(tmp_path / "walk.json"))
    )
    seen = replace(entry, record=record, evidence=replace(entry.evidence, findings=sheet))
    shots, read_ones = with_those_of_sheet(seen)
    assert [(one.file, one.check) for one in shots] == [("paint.jpg", "body_paint")]
    assert len(read_ones) == 1 and of_sheet(entry) == {}
    again = replace(seen, record=replace(record, photographs=shots))
    assert with_those_of_sheet(again) == (shots, [])


def test_originals_come_out_unchanged_byte_for_byte(market: Market, entered: Entry, tmp_path: Path) -> None:
    numbered = list(enumerate(entered.record.photographs, 1))
    paths = write_originals(market, numbered, tmp_path / "out")
    assert [path.name for path in paths] == ["01 front.jpg", "02 sill.jpg"]
    assert paths[0].read_bytes() == drawn_photograph(mark=1, orientation=6)
    with pytest.raises(FileError, match="there is a file of that name already"):
        write_originals(market, numbered, tmp_path / "out")


def test_altered_bytes_are_never_handed_out(market: Market, entered: Entry, tmp_path: Path) -> None:
    copy = tmp_path / "altered.duckdb"
    shutil.copy(market.path, copy)
    digest = entered.record.photographs[0].digest
    with duckdb.connect(str(copy)) as opened:
        opened.execute("UPDATE photographs SET content = 'x'::BLOB WHERE digest = ?", [digest])
    with pytest.raises(MarketError, match=f"photograph {digest[:12]} was altered"):
        Market.open(copy, create=False).photographs.original(digest)
    assert altered_evidence(copy) == [f"photograph {digest[:12]}"]
    assert altered_evidence(market.path) == []


def test_a_backup_a_copy_and_a_salvage_hold_them_whole(
    market: Market, entered: Entry, tmp_path: Path
) -> None:
    digests = [shot.digest for shot in entered.record.photographs]
    back_up(market.path, tmp_path / "kept.zip")
    restore(tmp_path / "kept.zip", tmp_path / "restored.duckdb")
    salvage(market.path, tmp_path / "salvaged.duckdb")
    for name in ("restored.duckdb", "salvaged.duckdb"):
        there = Market.open(tmp_path / name, create=False)
        first = read(there, entered.appraisal_id, 1)
        assert first.shown == entered.shown and first.record == entered.record
        for digest in digests:
            assert there.photographs.original(digest) == market.photographs.original(digest)
