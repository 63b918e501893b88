from collections.abc import Callable
from copy import copy
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pricing.appraisal.collection import Item, total_of, value_collection
from pricing.appraisal.collection_list import COLUMNS, Row, read_cars, record_of
from pricing.appraisal.collection_total import figure_of
from pricing.appraisal.evidence import Known
from pricing.appraisal.facts import DRAFT, MODEL_REPORT, facts_of
from pricing.appraisal.record.record import Appraisal, read_record, with_answer
from pricing.appraisal.register import listed, read
from pricing.errors import AppraisalError, FileError
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import load
from pricing.operations.appraisal_photographs import folder_reader
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.appraisals import HOSTILE, appraised_market, last_day
from tests.drawn_photographs import drawn_photograph


@pytest.fixture(scope="module")
def held(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    return appraised_market(small_market, tmp_path_factory.mktemp("collection"))


def terms(market: Market) -> Appraisal:
    at = last_day(market)
    return read_record(
        {"assignment": {"kind": "model report", "client": "Trust", "intended_use": "insurance",
                        "basis": "market value", "market_level": "dealer", "currency": "EUR",
                        "effective_date": at, "report_date": at},
         "evidence": {"gathered_later": "tried out later"}}
    )  # fmt: skip


def cars(market: Market, rows: int) -> pl.DataFrame:
    sold = market.sales().filter(pl.col("outcome") == "sold", pl.col("condition_band").is_not_null())
    return sold.sample(rows, seed=1).select(
        "make", "model", "variant", "year", "condition_band",
        reference=pl.format("shelf {}", pl.int_range(pl.len())), options=pl.col("options").list.join("; "),
    )  # fmt: skip


@pytest.mark.parametrize("ending", [".csv", ".xlsx", ".parquet"])
def test_a_spreadsheet_of_any_kind_is_read(held: Market, tmp_path: Path, ending: str) -> None:
    frame, path = cars(held, 5), tmp_path / f"cars{ending}"
    writers: dict[str, Callable[[Path], object]] = {
        ".csv": frame.write_csv, ".xlsx": frame.write_excel, ".parquet": frame.write_parquet,
    }  # fmt: skip
    writers[ending](path)
    found = read_cars(path)
    assert [car.reference for car in found] == frame["reference"].to_list()
    records = [record_of(terms(held), car) for car in found]
    assert [record.subject.year for record in records] == frame["year"].to_list()
    assert [record.subject.model for record in records] == frame["model"].to_list()
    assert ["; ".join(record.subject.options) for record in records] == frame["options"].to_list()


def test_every_row_comes_back_valued_or_with_its_reason(held: Market, tmp_path: Path) -> None:
    frame = cars(held, 6).with_columns(
        model=pl.when(pl.int_range(pl.len()) == 2).then(pl.lit("Nonesuch")).otherwise("model"),
        condition_band=pl.when(pl.int_range(pl.len()) == 4).then(pl.lit("shiny")).otherwise("condition_band"),
        reference=pl.when(pl.int_range(pl.len()) == 5)
        .then(pl.lit(HOSTILE["formula"]))
        .otherwise("reference"),
    )
    frame.write_csv(tmp_path / "cars.csv")
    steps: list[tuple[str, int, int]] = []
    known = Known.on(Snapshot.of(held), last_day(held), "fit-0001")
    items = value_collection(
        held, known, terms(held), read_cars(tmp_path / "cars.csv"), by="Clerk",
        progress=lambda *step: steps.append(step),
    )  # fmt: skip
    assert [item.row.number for item in items] == [2, 3, 4, 5, 6, 7]
    assert [item.facts is None for item in items] == [False, False, True, False, True, False]
    assert "Nonesuch" in items[2].reason
    assert "shiny" in items[4].reason
    assert items[5].row.reference == HOSTILE["formula"]
    valued = [item.facts for item in items if item.facts is not None]
    assert total_of(items).added == sum(figure_of(facts) or 0 for facts in valued)
    model, frame_of = load(held), pl.DataFrame([facts.evidence.valuation.car for facts in valued])
    mids = model.price_range(frame_of.cast({"year": pl.Int16}), as_of=last_day(held))["mid"].to_list()
    assert [float(facts.model.base[1]) for facts in valued if facts.model] == pytest.approx(mids, abs=0.01)
    names = [facts.appraisal_id for facts in valued]
    assert set(names) <= set(listed(held)["appraisal_id"])
    assert read(held, names[0]).made_by == "Clerk"
    assert ("gather evidence", 6, 6) in steps


def valued(market: Market, frame: pl.DataFrame, folder: Path, **said: Any) -> list[Item]:
    frame.write_csv(folder / "cars.csv")
    known = Known.on(Snapshot.of(market), last_day(market), "fit-0001")
    return value_collection(market, known, terms(market), read_cars(folder / "cars.csv"), by="Clerk", **said)


def test_a_row_with_a_value_of_its_own_is_a_draft_appraisal(held: Market, tmp_path: Path) -> None:
    frame = cars(held, 3).with_columns(
        figure=pl.Series([None, "4600", None]), low=pl.Series([None, None, "4000"]),
        high=pl.Series([None, None, "5000"]), chassis_number=pl.Series(["S6-1", "S6-2", "S6-3"]),
    )  # fmt: skip
    items = valued(held, frame, tmp_path)
    facts = [item.facts for item in items if item.facts is not None]
    assert [one.title for one in facts] == [MODEL_REPORT, DRAFT, DRAFT]
    assert [figure_of(one) for one in facts][1:] == [4600, 4500]
    assert all(one.lacking for one in facts[1:]), "a draft says what it lacks, and is not refused for it"
    for one in facts:
        again = facts_of(read(held, one.appraisal_id))
        assert (again.evidence_digest, again.model, again.opinion) == (
            one.evidence_digest,
            one.model,
            one.opinion,
        )


def test_a_refusal_of_the_model_stays_one(held: Market, tmp_path: Path) -> None:
    """Comparable sales do not take the place of a price that cannot be defended."""
    frame = cars(held, 2).with_columns(year=pl.Series([1966, 2024]))
    known = Known.on(Snapshot.of(held), last_day(held), "fit-0001")
    bare = replace(known, model=refusing(known.model))
    frame.write_csv(tmp_path / "cars.csv")
    before = listed(held).height
    items = value_collection(held, bare, terms(held), read_cars(tmp_path / "cars.csv"), by="Clerk")
    assert [item.facts for item in items] == [None, None] and listed(held).height == before
    assert all("later sales to check a range against" in item.reason for item in items[:1])


def refusing(model: PriceModel) -> PriceModel:
    """A model whose later sales are too few to promise a range."""
    shy = copy(model)
    shy.calibration = replace(model.calibration, law=replace(model.calibration.law, count=3))
    return shy


def test_of_one_chassis_only_the_first_row_is_valued(held: Market, tmp_path: Path) -> None:
    frame = cars(held, 3).with_columns(chassis_number=pl.Series(["wx/34-0102", "", "WX 34 0102"]))
    items = valued(held, frame, tmp_path)
    assert [item.facts is None for item in items] == [False, False, True]
    assert items[2].reason == "chassis number WX 34 0102 stands in row 2 already"
    assert total_of(items).cars == 2


def test_the_last_value_of_a_chassis_stands_beside_the_new_one(held: Market, tmp_path: Path) -> None:
    frame = cars(held, 2).with_columns(chassis_number=pl.Series(["Q-77", ""]))
    known = Known.on(Snapshot.of(held), last_day(held), "fit-0001")
    frame.write_csv(tmp_path / "cars.csv")
    listed_cars = read_cars(tmp_path / "cars.csv")
    day = last_day(held) - timedelta(days=400)
    sales = held.sales(day)
    earlier = PriceModel(FeatureSpec.cars()).fit(sales)
    known_then = replace(known, at=day, sales=sales, model=earlier, comparables_index=None)
    then = terms(held)
    then = replace(
        then, assignment=replace(then.assignment, effective_date=day, retrospective="as known then")
    )
    (old, _) = value_collection(held, known_then, then, listed_cars, by="Clerk")
    (new, other) = value_collection(held, known, terms(held), listed_cars, by="Clerk")
    assert old.facts is not None, old.reason
    assert other.before is None and new.before is not None
    assert (new.before.figure, new.before.effective_date) == (figure_of(old.facts), day)
    assert new.before.appraisal_id == old.facts.appraisal_id


def test_a_sheet_beside_the_list_grades_its_car(held: Market, tmp_path: Path) -> None:
    frame = cars(held, 1).with_columns(inspection_sheet=pl.lit("walk.json"), condition_band=pl.lit(None))
    (item,) = valued(held, frame, tmp_path)
    assert item.facts is None and "which a list sent to the page cannot do" in item.reason
    asked: list[str] = []

    def inspect(record: Appraisal) -> None:
        asked.append(record.inspection.sheet)
        raise AppraisalError("the sheet is of another car")

    (item,) = valued(held, frame, tmp_path, inspect=inspect)
    assert item.reason == "the sheet is of another car" and asked == [str(tmp_path / "walk.json")]


def test_a_folder_beside_the_list_brings_its_cars_photographs(held: Market, tmp_path: Path) -> None:
    frame = cars(held, 2).with_columns(photographs=pl.Series(["shelf 0", "shelf 1"]))
    (item, _) = valued(held, frame, tmp_path)
    assert item.facts is None and "which a list sent to the page cannot do" in item.reason
    before = last_day(held) - timedelta(days=9)
    front, back = (drawn_photograph(mark=mark, taken_on=before) for mark in (31, 32))
    (tmp_path / "shelf 0").mkdir()
    (tmp_path / "shelf 0" / "1 front.jpg").write_bytes(front)
    (tmp_path / "shelf 0" / "2 back.JPG").write_bytes(back)
    (tmp_path / "shelf 0" / "notes.txt").write_text("sills welded", encoding="utf-8")
    with_them, without = valued(held, frame, tmp_path, take_in=folder_reader(held))
    assert with_them.facts is not None, with_them.reason
    shots = with_them.facts.record.photographs
    assert [(shot.file, shot.cover) for shot in shots] == [("1 front.jpg", True), ("2 back.JPG", False)]
    assert [held.photographs.original(shot.digest) for shot in shots] == [front, back]
    assert set(read(held, with_them.facts.appraisal_id).shown) == {shot.digest for shot in shots}
    assert without.facts is None and "shelf 1 cannot be read" in without.reason
    (tmp_path / "shelf 1").mkdir()
    (_, without) = valued(held, frame, tmp_path, take_in=folder_reader(held))
    assert "has 0 JPEG or PNG files; expected 1 to 60 photographs of the car" in without.reason
    (tmp_path / "shelf 1" / "front.png").write_bytes(b"no picture")
    (_, without) = valued(held, frame, tmp_path, take_in=folder_reader(held))
    assert "front.png is no JPEG or PNG picture" in without.reason


def test_nothing_valued_enters_nothing(held: Market, tmp_path: Path) -> None:
    before = listed(held).height
    (tmp_path / "cars.csv").write_text("make,model,year\nNo,Such,1960\n", encoding="utf-8")
    known = Known.on(Snapshot.of(held), last_day(held), "fit-0001")
    (item,) = value_collection(held, known, terms(held), read_cars(tmp_path / "cars.csv"), by="Clerk")
    assert item.facts is None
    assert item.row.reference == "row 2"
    assert listed(held).height == before


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("make,model\nA,B\n", "the column year is needed"),
        ("make,model,year,wheels\nA,B,1960,4\n", "no column 'wheels' of a car; expected some of: reference"),
        ("make,model,year\n", "no rows"),
    ],
)
def test_a_spreadsheet_that_is_none_is_refused(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "cars.csv").write_text(text, encoding="utf-8")
    with pytest.raises((AppraisalError, FileError), match=words):
        read_cars(tmp_path / "cars.csv")


def test_a_variant_that_looks_like_a_number_stays_itself() -> None:
    record = record_of(
        Appraisal(), Row(2, "x", {"variant": "2.0", "year": "1966.0", "odometer_km": "98000.0"})
    )
    assert (record.subject.variant, record.subject.year, record.subject.odometer_km) == ("2.0", 1966, 98000.0)
    assert "figure" in COLUMNS


def test_rows_whose_report_contradicts_itself_are_refused_and_nothing_of_them_is_entered(
    held: Market, tmp_path: Path
) -> None:
    cars(held, 3).write_csv(tmp_path / "cars.csv")
    known = Known.on(Snapshot.of(held), last_day(held), "fit-0001")
    early = replace(terms(held), evidence=replace(terms(held).evidence, gathered_later=""))
    before = listed(held).height
    items = value_collection(held, known, early, read_cars(tmp_path / "cars.csv"), by="Clerk")
    assert all("is after the report date" in item.reason for item in items)
    assert listed(held).height == before


def test_a_value_in_the_shared_form_is_no_cars() -> None:
    shared = with_answer(Appraisal(), "opinion.figure", "4600")
    with pytest.raises(AppraisalError, match=r"the shared form gives opinion\.figure"):
        record_of(shared, Row(2, "7", {"make": "Corvane", "year": "1968"}))
