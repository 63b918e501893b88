"""A collection's bound document and its workbook, read back."""

import zipfile
from datetime import date
from io import BytesIO

import polars as pl
import pytest

from pricing.appraisal.collection import Item, total_of
from pricing.appraisal.collection_list import Row
from pricing.appraisal.collection_total import figure_of
from pricing.appraisal.facts import Facts
from pricing.reports.collection import collection_pages
from pricing.reports.formats.blocks import Heading
from pricing.reports.formats.pdf import pdf
from pricing.reports.schedule import schedule
from pricing.words.language.locale import LocaleWords
from pricing.words.language.reader import rounded
from tests.appraisals import HOSTILE, links_of, pdf_text
from tests.reports.test_report import number, tables


@pytest.fixture(scope="module")
def items(facts: Facts) -> list[Item]:
    """Two cars valued, one with a hostile reference, and one that could not be."""
    return [
        Item(Row(2, "shelf 1", {}), facts, ""),
        Item(Row(3, HOSTILE["formula"], {}), facts, ""),
        Item(Row(4, "shelf 3", {"make": "No", "model": "Such", "year": "1960"}), None, "no record of it"),
    ]


def test_the_schedule_adds_up(facts: Facts, items: list[Item], words: LocaleWords) -> None:
    pages = collection_pages(facts.record, items, total_of(items), words)
    (table,) = tables(pages, "Cars of the collection")
    assert len(table.rows) == 4
    assert number(table.rows[0][5]) == figure_of(facts) == 7350
    assert number(table.rows[-2][5]) == total_of(items).added == 14700
    total = total_of(items)
    assert [number(table.rows[-1][place]) for place in (3, 5, 4)] == [
        rounded(end) for end in (total.low, total.mid, total.high)
    ]
    finer = collection_pages(facts.record, items, total, LocaleWords.of("en_GB", 5))
    (table,) = tables(finer, "Cars of the collection")
    assert number(table.rows[-1][5]) == rounded(total.mid, 5)
    (refused,) = tables(pages, "Cars that were not valued")
    assert refused.rows == (("shelf 3", "1960 No Such", "", "no record of it"),)
    titles = [block.text for block in pages.blocks if isinstance(block, Heading)]
    assert [title.split(":")[0] for title in titles] == [
        "Schedule", "shelf 1", "=HYPERLINK(\"http", "Software and data",
    ]  # fmt: skip


def test_the_sales_of_a_car_are_in_the_clients_currency(
    facts: Facts, items: list[Item], words: LocaleWords
) -> None:
    """As in the car's own report; the evidence is in the market's currency, at a rate that is said."""
    table, *_ = tables(collection_pages(facts.record, items, total_of(items), words), "Comparable sales")
    into = facts.evidence.conversion.from_base
    assert facts.currency != facts.base_currency
    assert [column.header for column in table.columns[3:5]] == ["All-in, GBP", "Adjusted, GBP"]
    assert [number(row[3]) for row in table.rows] == [round(into(price)) for price in facts.grid["price"]]
    assert "reference rate of" in table.caption


def test_every_car_has_a_page_in_the_bound_document(
    facts: Facts, items: list[Item], words: LocaleWords
) -> None:
    steps: list[tuple[str, int, int]] = []
    pages = collection_pages(facts.record, items, total_of(items), words, lambda *step: steps.append(step))
    parts = pdf_text(pdf(pages, "letter", date(2026, 11, 2))).split("\f")[:-1]
    assert len(parts) == 5
    assert "shelf 1" in parts[2]
    assert "=HYPERLINK" in parts[3]
    assert all("Draft for a qualified valuer" in part for part in parts)
    assert steps == [("lay out", place, 3) for place in (1, 2, 3)]


def test_the_workbook_holds_numbers_as_numbers_and_texts_as_texts(
    facts: Facts, items: list[Item], words: LocaleWords
) -> None:
    made = schedule(facts.record, items, total_of(items), words, date(2026, 11, 2))
    cars = pl.read_excel(BytesIO(made), sheet_name="Schedule", infer_schema_length=None)
    assert facts.model is not None
    assert cars["Low, GBP"][0] == float(facts.model.figures[0])
    assert cars["Counted, GBP"].to_list() == [7350.0, 7350.0, None, 14700.0, None]
    assert cars["Middle, GBP"][-1] == float(total_of(items).mid)
    assert cars["Reference"].to_list() == ["shelf 1", HOSTILE["formula"], "shelf 3", "Sum", "Together"]
    sales = pl.read_excel(BytesIO(made), sheet_name="Sales used")
    assert sales.height == 2 * facts.grid.height
    assert sales["Adjusted price"].head(facts.grid.height).to_list() == [
        float(price) for price in facts.grid["adjusted_price"]
    ]
    with zipfile.ZipFile(BytesIO(made)) as opened:
        sheets = "".join(opened.read(name).decode() for name in opened.namelist() if "/sheet" in name)
    assert sheets.count("<f>") == 1  # the total
    assert "<f>SUM(I2:I4)</f>" in sheets
    assert "<hyperlink" not in sheets


def test_a_reference_that_looks_like_a_link_leads_nowhere(facts: Facts, words: LocaleWords) -> None:
    """Neither in the workbook nor in the bound document, whose links are those to its own pages."""
    items = [Item(Row(2, text, {}), facts, "") for text in (HOSTILE["script link"], HOSTILE["formula"])]
    book = schedule(facts.record, items, total_of(items), words, date(2026, 11, 2))
    with zipfile.ZipFile(BytesIO(book)) as opened:
        assert not [name for name in opened.namelist() if b'TargetMode="External"' in opened.read(name)]
    bound = pdf(collection_pages(facts.record, items, total_of(items), words), "letter", date(2026, 11, 2))
    assert links_of(bound) == []
