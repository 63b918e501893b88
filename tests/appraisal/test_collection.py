from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pricing.appraisal.collection import COLUMNS, figure_of, read_cars, record_of, total_of, value_collection
from pricing.appraisal.evidence import Known
from pricing.appraisal.record import Appraisal, read_record
from pricing.appraisal.register import listed, read
from pricing.errors import AppraisalError, FileError
from pricing.model.saved import load
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.appraisals import HOSTILE, appraised_market, last_day


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
    assert total_of(items) == sum(figure_of(facts) or 0 for facts in valued)
    model, frame_of = load(held), pl.DataFrame([facts.evidence.valuation.car for facts in valued])
    mids = model.price_range(frame_of.cast({"year": pl.Int16}), as_of=last_day(held))["mid"].to_list()
    assert [float(facts.model.base[1]) for facts in valued if facts.model] == pytest.approx(mids, abs=0.01)
    names = [facts.appraisal_id for facts in valued]
    assert set(names) <= set(listed(held)["appraisal_id"])
    assert read(held, names[0]).made_by == "Clerk"
    assert ("gather evidence", 6, 6) in steps


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
    from pricing.appraisal.collection import Row

    record = record_of(
        Appraisal(), Row(2, "x", {"variant": "2.0", "year": "1966.0", "odometer_km": "98000.0"})
    )
    assert (record.subject.variant, record.subject.year, record.subject.odometer_km) == ("2.0", 1966, 98000.0)
    assert "figure" in COLUMNS
