"""A market that is old, or whose fit is behind, or that holds no sale, says so with one sentence at every
door."""

import shutil
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path

import duckdb
import httpx
import polars as pl
import pytest

from pricing.appraisal.collection import Item, total_of
from pricing.appraisal.collection_list import Row
from pricing.appraisal.facts import facts_of
from pricing.appraisal.register import enter, read
from pricing.cli import main as cli
from pricing.condition.inspection_files import save as save_inspection
from pricing.operations.serving import MARKET_VARIABLE
from pricing.reports.collection import collection_pages
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.schedule import schedule
from pricing.reports.short import statement
from pricing.reports.wording import standing_warning
from pricing.store.market import Market
from pricing.words.language.locale import LocaleWords
from pricing.words.market_standing import market_warning
from tests.api.servers import serving
from tests.appraisals import appraised_market, evidence_of, full_record
from tests.condition.walks import walk
from tests.dashboards.pages import a_page, at_car, said
from tests.reports.test_report import texts
from tests.small_market import common_car

Run = Callable[..., str]
PAGES = (
    "position",
    "buying",
    "selling",
    "mending",
    "comparables",
    "market",
    "appraisals",
)
AT = date(2026, 6, 26)
"""A day after the fit's last record, and three years after the last sale of the old market."""


@pytest.fixture(scope="module")
def old(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    """The small market with all its records three years earlier, and a name settled after the fit."""
    path = tmp_path_factory.mktemp("old") / "old.duckdb"
    shutil.copy(small_market.path, path)
    with duckdb.connect(path) as opened:
        opened.execute("UPDATE records SET event_date = (event_date - INTERVAL 3 YEAR)::DATE")
    market = Market.open(path, create=False)
    market.settle_name("make", "mayke one", common_car(market)["make"])
    return market


@pytest.fixture(scope="module")
def sentence(old: Market) -> str:
    said = market_warning(old.state(), datetime.now(UTC).date())
    assert said is not None
    assert said.startswith("The last sale on record is of ") and said.endswith("would take them in.")
    return said


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """Call the command line in an empty folder: what it says on standard error."""
    monkeypatch.chdir(tmp_path)

    def called(*words: object, code: int = 0) -> str:
        monkeypatch.setattr(sys, "argv", ["pricing", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            cli.run()
        told = capfd.readouterr().err
        assert stopped.value.code == code, told
        return told

    return called


def _words(market: Market) -> list[object]:
    car = common_car(market)
    said = [f"--{name.replace('_', '-')}={car[name]}" for name in ("make", "model", "year", "condition_band")]
    return [*said, "--market", market.path]


def test_the_commands_and_the_sheets_they_write(old: Market, sentence: str, run: Run) -> None:
    car = _words(old)
    buy = ("buy", *car, "--certainty", "0.6", "--asking", "5000", "--channel", "private", "--sheet", "b.html")
    for words in (
        ("value", *car), buy, ("sell", *car, "--sheet", "s.html"), ("comparables", *car),
        ("index", "--period", "year", "--market", old.path), ("depth", "--market", old.path),
    ):  # fmt: skip
        assert run(*words).count(f"note: {sentence}") == 1, words[0]
    for name in ("b.html", "s.html"):
        assert sentence in Path(name).read_text(encoding="utf-8")


def test_mending(old: Market, sentence: str, run: Run) -> None:
    car = {name: said for name, said in common_car(old).items() if name in ("make", "model", "year")}
    save_inspection(replace(walk("monocoque", "worn"), car=car), Path("car.json"))
    words = ("repair", "compare", "car.json", "--country", "GB", "--market", old.path)
    assert run(*words).count(f"note: {sentence}") == 1


def test_the_api(old: Market, sentence: str) -> None:
    car = {name: said for name, said in common_car(old).items() if said is not None}
    asked = {"car": car}
    with serving(old.path) as address, httpx.Client(base_url=f"{address}/api/v1", timeout=300) as client:
        answers = {
            name: client.post(f"/{name}", json=question)
            for name, question in {
                "values": {"cars": [car]}, "standings": {"car": car | {"asking": "5000"}},
                "valuations": asked, "contributions": asked, "comparables": asked, "selling": asked,
                "buying": {"car": car | {"channel": "private"}, "asking": "5000", "certainty": 0.6},
            }.items()
        }  # fmt: skip
        answers |= {name: client.get(f"/{name}") for name in ("market", "index?period=year", "depth")}
    assert {name: answer.json().get("warning") for name, answer in answers.items()} == dict.fromkeys(
        answers, sentence
    )


@pytest.mark.parametrize("page", PAGES)
def test_the_pages(old: Market, sentence: str, page: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(MARKET_VARIABLE, str(old.path))
    assert sentence in said(at_car(a_page(page), common_car(old)))


def test_an_appraisal_in_all_its_forms(old: Market, tmp_path: Path) -> None:
    market = appraised_market(old, tmp_path)
    record = full_record(common_car(market), AT)
    (name,) = enter(market, [(record, evidence_of(market, record))], by="Clerk One")
    facts, words = facts_of(read(market, name)), LocaleWords.of("en_GB")
    told = "The last sale on record is of "
    assert (warning := standing_warning(facts, words)) is not None and warning.startswith(told)
    assert warning.endswith("a new fit would take them in.")
    before = replace(facts.evidence, market=replace(facts.evidence.market, last_sale=None))
    assert standing_warning(replace(facts, evidence=before), words) is None, "a version that kept no such day"
    for form in (report, statement, letter):
        assert warning in texts(form(facts, words)), form
    item = Item(Row(1, "one", {}), facts, "")
    assert warning in texts(collection_pages(record, [item], total_of([item]), words))
    book = BytesIO(schedule(record, [item], total_of([item]), words, AT))
    assert warning in pl.read_excel(book, sheet_name="To know", has_header=False).to_series().to_list()


def test_a_market_without_a_sale_says_so_before_it_is_refused(tmp_path: Path, run: Run) -> None:
    market = Market.open(tmp_path / "none.duckdb")
    words = ("value", "--make", "Corvane", "--model", "Six", "--year", 1968, "--market", market.path)
    assert "note: The market holds no sale yet: load sale records first." in run(*words, code=1)
