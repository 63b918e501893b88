"""Written documents: one appraisal as PDF and as a word processor file, and a collection of 500 cars.

Seconds of one run, and what each step takes of the whole; the aims are 2 seconds for one PDF and a minute
for the collection on two cores.
"""

import time
from datetime import date
from pathlib import Path

import polars as pl
import pytest

import data_demo
from pricing.appraisal.collection import total_of, value_collection
from pricing.appraisal.collection_list import read_cars
from pricing.appraisal.evidence import Known
from pricing.appraisal.facts import facts_of
from pricing.appraisal.record.record import read_record
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.reports.collection import collection_pages
from pricing.reports.formats.docx import docx
from pricing.reports.formats.pdf import pdf
from pricing.reports.report import report
from pricing.reports.schedule import schedule
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from pricing.words.language.locale import LocaleWords
from tests.appraisals import full_entry, last_day, pdf_pages

CARS = 500
MADE_ON = date(2026, 11, 2)
WORDS = LocaleWords.of("en_GB")

pytestmark = pytest.mark.benchmark


class Clock:
    """Seconds between one call and the next, by step."""

    def __init__(self) -> None:
        self.steps: dict[str, float] = {}
        self._since = time.perf_counter()

    def __call__(self, step: str) -> None:
        now = time.perf_counter()
        self.steps[step] = now - self._since
        self._since = now

    def show(self, title: str) -> None:
        whole = sum(self.steps.values())
        print(f"\n{title}: {whole:.2f} s")
        for step, seconds in self.steps.items():
            print(f"  {step:<28}{seconds:>8.2f} s {seconds / whole:>6.0%}")


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Market:
    """The demo market with a fit."""
    opened = Market.open(tmp_path_factory.mktemp("documents") / "demo.duckdb")
    opened.load(data_demo.files())
    save(PriceModel(FeatureSpec.cars()).fit(opened.sales()), opened)
    return opened


def test_one_appraisal(market: Market) -> None:
    entry = full_entry(market)
    pdf(report(facts_of(entry), WORDS))  # typefaces and converters are read once a process
    tick = Clock()
    facts = facts_of(entry)
    tick("facts")
    pages = report(facts, WORDS)
    tick("blocks and charts")
    made = pdf(pages, "a4", MADE_ON)
    tick("PDF")
    tick.show(f"one PDF of {pdf_pages(made)} pages")
    tick = Clock()
    docx(report(facts, WORDS), "a4", MADE_ON)
    tick("word processor file")
    tick.show("the same to be edited")


def test_a_collection(market: Market, tmp_path: Path) -> None:
    sold = market.sales().filter(pl.col("outcome") == "sold", pl.col("condition_band").is_not_null())
    columns = ("make", "model", "variant", "year", "condition_band", "odometer_km")
    sold.sample(CARS, seed=3).select(columns).write_excel(tmp_path / "cars.xlsx")
    at = last_day(market)
    shared = read_record(
        {"assignment": {"kind": "model report", "client": "Trust", "intended_use": "insurance",
                        "basis": "market value", "market_level": "private", "currency": "EUR",
                        "effective_date": at, "report_date": date.today()}}
    )  # fmt: skip
    tick = Clock()
    cars = read_cars(tmp_path / "cars.xlsx")
    known = Known.on(Snapshot.of(market, PriceModel(FeatureSpec.cars()).fit(market.sales())), at)
    tick("read and fit")
    items = value_collection(market, known, shared, cars, by="benchmark")
    tick("gather, freeze, read back")
    total = total_of(items)
    schedule(shared, items, total, WORDS, MADE_ON)
    tick("workbook")
    pages = collection_pages(shared, items, total, WORDS)
    tick("blocks and charts")
    made = pdf(pages, "a4", MADE_ON)
    tick("PDF")
    assert sum(item.facts is not None for item in items) == CARS
    tick.show(f"{CARS} cars, {pdf_pages(made)} pages")
