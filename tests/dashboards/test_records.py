"""The page for records: what it shows is the library's, and nothing is written without a button."""

import io
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from streamlit.testing.v1 import AppTest

from dashboards import caches
from dashboards.recording import questions as record_questions
from pricing.intake.mappings.proposals import propose
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


def box(page: AppTest, label: str) -> Any:
    """The one pick-list of that label."""
    (found,) = [box for box in page.selectbox if box.label.replace("\\", "") == label]
    return found


def test_an_empty_market_asks_for_a_file(page: AppTest) -> None:
    assert not page.exception
    assert [uploader.label for uploader in page.file_uploader] == ["File of sale records"]
    assert not page.button
    assert not page.dataframe


def test_a_file_is_mapped_shown_tried_and_loaded(page: AppTest, market: Market, tmp_path: Path) -> None:
    give(page, CSV)
    assert not page.exception
    frame = pl.read_csv(io.StringIO(CSV), infer_schema=False)
    for column in propose(frame, "hall").columns:
        assert box(page, f"What {column.theirs!r} is").value == column.ours
        assert column.samples[0] in said(page)
    assert "Dates are read as day-month-year." in said(page)
    assert "1968 Corvane Six: sold, GBP 4,250 all-in, 13 May 2024, private, GB" in said(page)
    assert market.batches().is_empty()
    assert "3 rows read: 2 accepted, 1 rejected, 0 already known (a dry run" in said(page)
    refused = table(page, "why")
    assert refused[["row", "why"]].to_numpy().tolist() == [[4, "year out of range"]]
    assert "Built 1769" in refused["cells"].iloc[0]

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
    assert "Remarks =HYPERLINK(1)" in waiting["raw"].iloc[0]
    assert left_behind(tmp_path) == []

    give(page, CSV)
    assert "Read as the last file of hall, by its headings" in [tick.label for tick in page.checkbox]
    (load,) = [button for button in page.button if button.label == "Load the file now"]
    assert load.disabled and "Nothing of it is new." in said(page)
    assert market.batches().height == 1


def test_an_open_date_order_is_asked_and_never_guessed(page: AppTest, market: Market) -> None:
    give(page, OPEN_DATES)
    assert "can be read in several orders; say which of them" in said(page)
    assert "event date unreadable" in said(page)
    assert "state any other order" in said(page)
    assert "0 accepted, 3 rejected" in said(page)
    box(page, "Order of dates in figures").select("month-day-year").run()
    assert not page.exception
    assert "Dates are read as month-day-year." in said(page)
    press(page, "Load the file now")
    assert "2 accepted, 1 rejected" in said(page)
    assert [day.isoformat() for day in market.sales()["event_date"]] == ["2024-03-05", "2024-04-05"]


def test_a_column_and_a_word_are_picked_and_a_premium_typed(page: AppTest, market: Market) -> None:
    rows = (
        "Marque,Model,Built,Cond,Sale date,Hammer,Where from\n"
        'Corvane,Six,1968,tatty,13/5/2024,"£4,000",club\n'
    )
    give(page, rows)
    assert box(page, "What 'Where from' is").value is None
    box(page, "What 'Where from' is").select("notes").run()
    box(page, "Condition band: tatty").select("project").run()
    box(page, "Country").select("unknown").run()
    assert "premium unknown" in str(table(page, "why")["why"].to_list())
    (premium,) = [field for field in page.text_input if field.label == "Buyer's premium, per cent"]
    premium.set_value("15,0").run()
    assert "still open above" not in said(page)
    press(page, "Load the file now")
    (sale,) = market.sales().rows(named=True)
    assert (sale["condition_band"], sale["notes"], sale["country"], sale["channel"]) == (
        "project", "club", None, "auction"
    )  # fmt: skip
    base = Market.open(market.path).base_currency  # of a market without a record that of its first ones
    assert (sale["price"], base) == (4600, "GBP"), "the hammer price with a premium of 15 per cent"


def test_two_columns_taken_for_one_are_answered_with_a_sentence(page: AppTest) -> None:
    give(page, CSV)
    box(page, "What 'Remarks' is").select("make").run()
    assert not page.exception
    assert "Two columns are taken for make" in page.error[0].value.replace("\\", "")
    assert not [button for button in page.button if button.label == "Load the file now"]


def test_a_pasted_table_is_loaded(page: AppTest, market: Market) -> None:
    page.pills[0].set_value("A pasted table").run()
    page.text_area[0].set_value(CSV.replace('"', "").replace(",", "\t").replace("£4\t", "£4,")).run()
    assert not page.exception
    assert "2 accepted, 1 rejected" in said(page)
    press(page, "Load the table now")
    assert market.sales()["amount"].to_list() == [4250, 4350]


def test_one_sale_is_typed_changed_and_taken_out(page: AppTest, market: Market) -> None:
    def field(label: str) -> Any:
        (found,) = [one for one in (*page.text_input, *page.selectbox) if one.label == label]
        return found

    page.pills[0].set_value("One sale").run()
    press(page, "Add this sale")
    assert "no sale record yet" in page.error[0].value and market.sales().is_empty()
    for label, cell in {"Make *": "Corvane", "Model *": "Six", "Year *": "'68", "Price": "£4,250"}.items():
        field(label).set_value(cell)
    field("Outcome *").set_value("sold")
    field("Basis of the price *").set_value("all-in")
    press(page, "Add this sale")
    assert not page.exception
    assert "1968 Corvane Six: sold, GBP 4,250 all-in" in said(page)
    (sale,) = market.sales().rows(named=True)

    (act,) = [group for group in page.button_group if group.key == "sale_act"]
    act.set_value("Change or take out a record").run()
    field("Find a record").set_value("corvane 1968").run()
    (found,) = [one for one in page.selectbox if one.label == "1 of 1 found"]
    found.set_value(sale["record_id"]).run()
    assert field("Day of the sale or offer").value == sale["event_date"].isoformat()
    field("Price").set_value("£4,500")
    field("Day of the sale or offer").set_value("Mar 2024")
    press(page, "Keep the changes")
    assert "needs a reason" in page.error[0].value
    field("Why (kept with the old values)").set_value("the bill")
    press(page, "Keep the changes")
    assert market.sales()["amount"].to_list() == [4500]
    past = dict(market.corrections(sale["record_id"]).select("column", "old").iter_rows())
    assert past["amount"] == "4250.000" and past["event_date"] == sale["event_date"].isoformat()
    assert "Event date, amount changed; what stood there is kept" in said(page)
    assert field("Day of the sale or offer").value == "2024-03", "a month is no day"
    field("Why (kept with the old values)").set_value("entered twice")
    press(page, "Take this record out")
    assert "is taken out" in said(page) and market.sales().is_empty()


def test_what_a_sale_may_be_one_with_is_shown_before_it_is_added(page: AppTest, market: Market) -> None:
    def typed(notes: str) -> None:
        cells = {
            "Make *": "Corvane", "Model *": "Six", "Year *": "'68", "Price": "£4,250", "Outcome *": "sold",
            "Basis of the price *": "all-in", "Chassis number": "CV/1234", "Notes": notes,
        }  # fmt: skip
        for label, cell in cells.items():
            (found,) = [one for one in (*page.text_input, *page.selectbox) if one.label == label]
            found.set_value(cell)
        press(page, "Add this sale")
        assert not page.exception

    page.pills[0].set_value("One sale").run()
    typed("seen")
    assert market.sales(every_record=True).height == 1
    typed("heard")
    assert "Nothing is added yet" in said(page) and "1968 Corvane Six: sold" in said(page)
    assert market.sales(every_record=True).height == 1
    press(page, "Add this sale")
    assert market.sales(every_record=True).height == 2 and market.sales().height == 1


def test_a_kept_mapping_goes_before_the_proposed_one(page: AppTest) -> None:
    give(page, OPEN_DATES)
    frame = pl.read_csv(io.StringIO(OPEN_DATES), infer_schema=False)
    proposed = propose(frame, "other hall").text
    kept = "\n".join(line for line in proposed.splitlines() if not line.startswith("#"))
    give(page, f'{kept}\n[dates]\norder = "day-month-year"\n', "hall.toml", place=1)
    assert not page.exception
    (source,) = [field for field in page.text_input if field.label == "Where it comes from"]
    assert source.value == "other hall"
    assert "Dates are read as day-month-year." in said(page)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("source = ", "mapping.toml cannot be read as TOML"),
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
    give(page, text or "\n", "hall.toml", place=1)
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
    assert "2 accepted, 1 rejected" in said(page)
    assert not path.exists()
    assert box(page, "Base currency of the new market").value == "GBP"
    press(page, "Load the file now")
    assert Market.open(path, create=False).sales().height == 2
