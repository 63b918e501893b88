"""The page for records: what it shows is the library's, and nothing is written without a button."""

import io
import json
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from streamlit.testing.v1 import AppTest

from dashboards import caches, record_questions
from pricing.intake.proposals import propose
from pricing.operations.serving import MARKET_VARIABLE
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.dashboards.pages import a_page, press, said, table

CSV = (
    "Marque,Model,Built,Venue,Land,Result,Sale date,Price,Basis,Remarks\n"
    'Corvane,Six,1968,private,GB,sold,13/5/2024,"£4,250",all-in,=1+1\n'
    'Corvane,Six,1969,private,GB,sold,14/5/2024,"£4,350",all-in,<b>kept</b>\n'
    'Corvane,Six,1769,private,GB,sold,15/5/2024,"£4,450",all-in,=HYPERLINK(1)\n'
)
OPEN_DATES = CSV.replace("13/5", "3/5").replace("14/5", "4/5").replace("15/5", "5/5")

Visit = Callable[[], AppTest]


@pytest.fixture
def market(tmp_path: Path) -> Market:
    return Market.open(tmp_path / "market.duckdb")


@pytest.fixture
def page(market: Market, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> AppTest:
    monkeypatch.setenv(MARKET_VARIABLE, str(market.path))
    kept = tmp_path / "temporary"
    kept.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(kept))
    return a_page("records").run()


def give(page: AppTest, content: str | bytes, name: str = "hall.csv", place: int = 0) -> AppTest:
    data = content.encode() if isinstance(content, str) else content
    page.file_uploader[place].set_value((name, data, "application/octet-stream"))
    return page.run()


def _state() -> Snapshot:
    state = caches.snapshot()
    assert state is not None
    return state


def _batch(page: AppTest) -> Any:
    (box,) = [box for box in page.selectbox if box.label == "Batch to take back"]
    return box


def left_behind(tmp_path: Path) -> list[Path]:
    return list((tmp_path / "temporary").iterdir())


def test_an_empty_market_asks_for_a_file(page: AppTest) -> None:
    assert not page.exception
    assert [uploader.label for uploader in page.file_uploader] == ["File of sale records"]
    assert not page.button
    assert not page.dataframe


def test_a_file_is_mapped_shown_counted_and_loaded(page: AppTest, market: Market, tmp_path: Path) -> None:
    give(page, CSV)
    assert not page.exception
    frame = pl.read_csv(io.StringIO(CSV), infer_schema=False)
    assert page.text_area[0].value == propose(frame, "hall").text
    assert "Dates are read as day-month-year." in said(page)
    landed = page.dataframe[0].value.set_index("column")
    assert landed.loc["amount"].to_list() == ["4250", "4350", "4450"]
    assert landed.loc["event_date"].to_list() == ["2024-05-13", "2024-05-14", "2024-05-15"]
    assert landed.loc["broken_rules"].iloc[2] == "year out of range"
    assert market.batches().is_empty()

    before = market.path.read_bytes()
    press(page, "Count without loading")
    assert "3 rows read: 2 accepted, 1 rejected, 0 already known (a dry run" in said(page)
    assert market.path.read_bytes() == before
    assert page.dataframe[1].value.to_numpy().tolist() == [["year out of range", 1]]

    press(page, "Load the file now")
    assert not page.exception
    assert "3 rows read: 2 accepted, 1 rejected, 0 already known (batch-0001)." in said(page)
    assert market.sales()["amount"].to_list() == [4250, 4350]
    rules, batches, waiting = table(page, "rule"), table(page, "batch_id"), table(page, "raw")
    assert rules.to_numpy().tolist() == [["year out of range", 1]]
    assert batches[["batch_id", "files", "read", "accepted", "rejected"]].to_numpy().tolist() == [
        ["batch-0001", "hall.csv", 3, 2, 1]
    ]
    assert waiting["broken_rules"].to_list() == ["year out of range"]
    assert json.loads(waiting["raw"].iloc[0])["Remarks"] == "=HYPERLINK(1)"
    assert left_behind(tmp_path) == []

    give(page, CSV)
    press(page, "Load the file now")
    assert "3 already known; nothing was new" in said(page)
    assert market.batches().height == 1


def test_an_open_date_order_is_asked_and_never_guessed(page: AppTest, market: Market) -> None:
    give(page, OPEN_DATES)
    assert "it is asked, never guessed" in said(page)
    assert "event date missing" in str(page.dataframe[0].value) or "unreadable" in str(
        page.dataframe[0].value
    )
    assert "state any other order" in said(page)
    press(page, "Count without loading")
    assert "0 accepted, 3 rejected" in said(page)
    (question,) = [box for box in page.selectbox if box.label.startswith("order")]
    question.select("month-day-year").run()
    assert not page.exception
    assert "[dates]" in str(page.text_area[0].value)
    assert "Dates are read as month-day-year." in said(page)
    assert not page.warning
    press(page, "Load the file now")
    assert "2 accepted, 1 rejected" in said(page)
    assert [day.isoformat() for day in market.sales()["event_date"]] == ["2024-03-05", "2024-04-05"]


def test_a_kept_mapping_goes_before_the_proposed_one(page: AppTest) -> None:
    give(page, OPEN_DATES)
    frame = pl.read_csv(io.StringIO(OPEN_DATES), infer_schema=False)
    proposed = propose(frame, "other hall").text
    kept = "\n".join(line for line in proposed.splitlines() if not line.startswith("#"))
    give(page, f'{kept}\n[dates]\norder = "day-month-year"\n', "hall.toml", place=1)
    assert not page.exception
    assert 'source = "other hall"' in str(page.text_area[0].value)
    assert not page.warning
    assert "Dates are read as day-month-year." in said(page)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("source = ", "mapping.toml is not a TOML file"),
        (
            'source = "s"\n[columns]\nmake = "![x](http://x.invalid/a)"',
            "names columns that the table does not",
        ),
        ('source = "s"\n[dates]\norder = "any"', "dates.order is 'any'"),
        ("", "a mapping names its source"),
    ],
)
def test_a_wrong_mapping_is_answered_with_a_sentence(
    page: AppTest, market: Market, text: str, message: str, tmp_path: Path
) -> None:
    give(page, CSV)
    page.text_area[0].set_value(text).run()
    assert not page.exception
    (error,) = page.error
    assert message in error.value.replace("\\", "")
    assert "![" not in error.value
    assert str(tmp_path) not in error.value
    assert not [button for button in page.button if button.label == "Load the file now"]
    assert left_behind(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.xlsx", b"make,model\n", "a.xlsx is not of the kind that its name says"),
        ("a.parquet", b"PAR1 and nothing more", "a.parquet cannot be read"),
        ("a.jsonl", b"make\n", "a.jsonl, line 1 is not JSON"),
        ("a.csv", b"make,model\n", "a.csv has a header and no rows"),
    ],
)
def test_a_wrong_file_is_answered_with_a_sentence(
    page: AppTest, name: str, content: bytes, message: str, tmp_path: Path
) -> None:
    give(page, content, name)
    assert not page.exception
    assert message in page.error[0].value.replace("\\", "")
    assert left_behind(tmp_path) == []


def test_a_batch_is_taken_back_when_asked_twice(page: AppTest, market: Market) -> None:
    give(page, CSV)
    press(page, "Load the file now")
    _batch(page).select("batch-0001").run()
    assert market.sales().height == 2
    press(page, "Take batch-0001 back now")
    assert not page.exception
    assert "2 records of batch-0001 are gone." in said(page)
    assert market.sales().is_empty()
    assert market.quarantine().is_empty()
    assert not [box for box in page.selectbox if box.label == "Batch to take back"]


def test_the_download_can_be_mended_and_given_back(page: AppTest, market: Market) -> None:
    give(page, CSV)
    press(page, "Load the file now")
    with zipfile.ZipFile(io.BytesIO(record_questions.archive(_state()))) as archive:
        rows, mapping = archive.namelist()
        table, text = archive.read(rows).decode(), archive.read(mapping).decode()
    assert "'=HYPERLINK(1)" in table
    give(page, table.replace("1769", "1969"), rows)
    give(page, text, "kept.toml", place=1)
    press(page, "Load the file now")
    assert "1 rows read: 1 accepted" in said(page)
    assert market.quarantine().is_empty()
    assert market.sales().height == 3


def test_a_first_load_makes_the_market(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "new.duckdb"
    monkeypatch.setenv(MARKET_VARIABLE, str(path))
    page = a_page("records").run()
    give(page, CSV)
    press(page, "Count without loading")
    assert "2 accepted, 1 rejected" in said(page)
    assert not path.exists()
    press(page, "Load the file now")
    assert Market.open(path, create=False).sales().height == 2
