"""The library as a program in Python meets it: kept fits, frames of other libraries, errors, reprs."""

import json
import os
import re
import shutil
import subprocess
import sys
import threading
from datetime import timedelta
from decimal import Decimal
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import altair
import pandas
import polars as pl
import pyarrow
import pytest
from polars.testing import assert_frame_equal
from typing_extensions import deprecated

import pricing
from pricing import Car, FeatureSpec, Market, PriceModel, PricingError, errors
from pricing.api.client import Client
from pricing.appraisal.register import read
from pricing.car_names import Names
from pricing.decisions.valuation import value_car
from pricing.errors import CarError, MarketError, ModelError, TableError
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.evidence.indices.index import price_index
from pricing.model.saved import load
from tests.ports import free_port
from tests.small_market import common_car

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def market(small_market: Any) -> Market:
    return Market.open(small_market.path, create=False)


def test_public_names_are_few() -> None:
    assert "PriceDistribution" in pricing.__all__ and len(pricing.__all__) <= 10


def test_a_market_gives_its_kept_fits(market: Market) -> None:
    cars = pl.DataFrame([common_car(market)])
    said = load(market).price_range(cars)
    assert_frame_equal(market.model().price_range(cars), said)
    assert_frame_equal(market.model("fit-0001").price_range(cars), said)
    with pytest.raises(MarketError, match="no fitted model 'fit-0009'"):
        market.model("fit-0009")


@pytest.mark.parametrize(
    "other",
    [pl.DataFrame.to_pandas, pl.DataFrame.to_arrow, pl.DataFrame.lazy],
    ids=["pandas", "pyarrow", "lazy"],
)
def test_a_frame_of_another_library_is_the_same_car(market: Market, other: Any) -> None:
    model = market.model()
    cars = pl.DataFrame([common_car(market)] * 2).with_columns(odometer_km=pl.Series([50_000.0, None]))
    given = other(cars)
    assert isinstance(given, pandas.DataFrame | pyarrow.Table | pl.LazyFrame)
    assert_frame_equal(model.price_range(given), model.price_range(cars))
    assert_frame_equal(model.distribution(given).terms(), model.distribution(cars).terms())


def test_a_model_is_fitted_to_a_frame_of_pandas() -> None:
    sales = pl.DataFrame({
        "make": ["Ash", "Elm"] * 60,
        "price": [None if place % 10 == 9 else 4000.0 + 13 * place for place in range(120)],
    })  # fmt: skip
    spec, car = FeatureSpec(groups=("make",)), pl.DataFrame({"make": ["Ash"]})
    known = sales.drop_nulls()
    frames = [PriceModel(spec).fit(frame).price_range(car) for frame in (known, known.to_pandas())]
    assert_frame_equal(*frames)


@pytest.mark.parametrize("wrong", [{"make": ["Ash"]}, [1], None, "cars.csv", pl.Series([1])])
def test_what_is_no_frame_is_a_mistake(market: Market, wrong: Any) -> None:
    with pytest.raises(TableError, match="expected a frame of polars, pandas or pyarrow"):
        market.model().price_range(wrong)


def test_asking_by_is_a_category() -> None:
    for categories in ((), ("country",)):
        with pytest.raises(ModelError, match="asking_by is one of the categories"):
            FeatureSpec(categories=categories, outcome="outcome", asking_by="channel")


def test_a_server_that_is_not_there_is_a_mistake() -> None:
    with Client(f"http://127.0.0.1:{free_port()}") as client:
        for ask in (
            client.market,
            client.ready,
            lambda: next(client.items("fits")),
            lambda: client.document("a"),
        ):
            with pytest.raises(PricingError, match=r"no answer from http://127\.0\.0\.1"):
                ask()
    with Client("http://[") as client, pytest.raises(PricingError):
        client.market()


def test_a_server_that_is_another_is_a_mistake() -> None:
    class Other(BaseHTTPRequestHandler):
        def do_GET(self) -> None:  # noqa: N802 - the library's name
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"<html>")

        def log_message(self, *_: Any) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Other) as server:
        threading.Thread(target=server.handle_request, daemon=True).start()
        with Client(f"http://127.0.0.1:{server.server_port}") as client:
            with pytest.raises(PricingError, match="something else than JSON"):
                client.market()


def test_what_a_notebook_shows_is_short_and_says_facts(market: Market) -> None:
    model = market.model()
    cars = pl.DataFrame([common_car(market)] * 2)
    one, two = model.distribution(cars[:1]), model.distribution(cars)
    assert repr(market) == f"Market at {market.path}, prices in EUR"
    assert f"{model.facts['sales']:,} sales" in repr(model)
    assert repr(PriceModel(FeatureSpec.cars())) == "PriceModel, not fitted"
    assert f"median {one.mid[0]:,.0f}, 80% from" in repr(one) and repr(two) == "PriceDistribution of 2 cars"
    for shown in (market, model, one, two):
        assert len(repr(shown)) < 250 and "\n" not in repr(shown)
        assert shown._repr_html_().startswith("<p>")
    assert "1 fits" in market._repr_html_() and "<table" in two._repr_html_()


CODES = {
    "PricingError": "refused", "FileError": "file", "TableError": "table", "MappingError": "mapping",
    "DoubtError": "doubt", "MoneyError": "money", "MarketError": "market", "ServerAwayError": "server-away",
    "WriteFailedError": "unwritten", "DamagedError": "damaged", "InUseError": "in-use",
    "DoneMeanwhileError": "done-meanwhile", "ModelError": "model",
    "CarError": "car", "InspectionError": "inspection", "EvidenceError": "evidence",
    "DecisionError": "decision", "AppraisalError": "appraisal",
}  # fmt: skip
"""Programs tell errors apart by these: one may be added, none changed."""


def test_every_error_has_a_stable_code_of_its_own() -> None:
    kinds = {
        name: kind.code
        for name, kind in vars(errors).items()
        if isinstance(kind, type) and issubclass(kind, PricingError)
    }
    assert CODES.items() <= kinds.items() and len(set(kinds.values())) == len(kinds)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", code) for code in kinds.values())


def test_the_market_answers_what_the_functions_answer(market: Market, small_market: Any) -> None:
    car, model = common_car(market), market.model()
    checked = Car.checked(car, known=Names.of(market.sales()))
    asking = Decimal("5000")
    said = market.value(car, asking=asking)
    assert said.to_dict() == value_car(market, model, checked, asking=asking).to_dict()
    assert market.value(checked, fit="fit-0001").mid == said.mid
    indexed = ComparablesIndex.build(market.sales(), model, currency=market.base_currency)
    assert_frame_equal(market.comparables(car).table, find_comparables(indexed, checked).table)
    assert_frame_equal(market.index(period="year").frame, price_index(market.sales(), period="year").frame)
    earlier = said.as_of - timedelta(days=300)
    assert market.value(car, as_of=earlier).as_of == earlier
    with pytest.raises(CarError, match="no record of the make"):
        market.value({**car, "make": "Nobody"})
    with pytest.raises(CarError, match="no record of the make"):
        market.index("Nobody")
    with pytest.raises(MarketError, match="a mapping of what is said"):
        market.value("Wexcombe")  # type: ignore[arg-type]


def test_an_appraisal_entered_in_python_is_the_one_on_the_command_line(
    small_market: Any, tmp_path: Path
) -> None:
    shutil.copy(small_market.path, tmp_path / "own.duckdb")
    market = Market.open(tmp_path / "own.duckdb", create=False)
    record = {
        "assignment": {
            "client": "A. Client",
            "market_level": "private",
            "currency": "EUR",
            "effective_date": market.value(common_car(market)).as_of,
        },
        "subject": {
            name: value for name, value in common_car(market).items() if name in ("make", "model", "year")
        },
    }
    entry = market.appraise(record, by="A. Clerk")
    assert entry.evidence is not None and entry.appraisal_id == "appraisal-0001"
    assert read(market, entry.appraisal_id).evidence_digest == entry.evidence_digest
    assert "appraisal-0001, revision 1" in entry._repr_html_()


def test_facts_show_themselves_in_a_notebook(market: Market) -> None:
    car = common_car(market)
    for shown in (market.value(car), market.comparables(car), market.index(period="year")):
        html = shown._repr_html_()
        assert html.startswith("<p>") and "<table" in html and "None" not in html.partition("<table")[0]


def test_charts_are_public_and_altairs(market: Market) -> None:
    from pricing import charts

    valuation, index = market.value(common_car(market)), market.index(period="year")
    for chart in (charts.bands_chart(valuation), charts.terms_chart(valuation), charts.index_chart(index)):
        assert isinstance(chart, altair.TopLevelMixin)
    assert all(callable(getattr(charts, name)) for name in charts.__all__)


@pytest.mark.soak
@pytest.mark.parametrize("checker", ["mypy", "pyright"])
def test_types_hold_for_a_strict_program_outside(checker: str, tmp_path: Path) -> None:
    """In a folder of its own; the ordinary `mypy` looks at it with the same rules."""
    shutil.copy(ROOT / "tests/consumer.py", tmp_path)
    words = [sys.executable, "-m", "mypy", "--strict", "--config-file", os.devnull, "--follow-imports=silent"]
    if checker == "pyright":
        if shutil.which("npx") is None:
            pytest.skip("needs npx, which fetches pyright")
        settings = {"typeCheckingMode": "strict", "extraPaths": [str(ROOT)]}
        (tmp_path / "pyrightconfig.json").write_text(json.dumps(settings))
        words = ["npx", "--yes", "pyright", "--project", ".", "--pythonpath", sys.executable]
    done = subprocess.run(
        words if checker == "pyright" else [*words, "consumer.py"],
        cwd=tmp_path, capture_output=True, text=True, env={**os.environ, "MYPYPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_what_is_deprecated_warns_for_a_release() -> None:
    """The policy of DEVELOPERS.md: PEP 702's decorator, which type checkers know too."""

    @deprecated("use mid, since 0.2.0")
    def median() -> float:
        return 1.0

    with pytest.warns(DeprecationWarning, match="use mid, since"):
        assert median() == 1.0
