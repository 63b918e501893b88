"""One car, one answer: what cannot be a car of the market is refused at every door with the same sentence."""

import ast
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, get_type_hints

import polars as pl
import pytest
from streamlit.testing.v1 import AppTest

from pricing.api.client import Client
from pricing.appraisal.collection import value_collection
from pricing.appraisal.collection_list import read_cars
from pricing.appraisal.evidence import Known, gather
from pricing.appraisal.record.record import Appraisal, read_record
from pricing.appraisal.record.sections import Subject
from pricing.car import Car
from pricing.car_fields import FIELDS
from pricing.car_names import Names
from pricing.cli import main as cli
from pricing.condition.inspection import Inspection
from pricing.decisions.buy.buying import buy_car
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.valuation import value_car
from pricing.errors import CarError
from pricing.evidence.comparison.comparables import find_comparables
from pricing.records.contract import Contract
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from pricing.words.language.plain_text import sentence
from tests.api.servers import serving
from tests.appraisals import appraised_market, last_day
from tests.cars import car_of
from tests.dashboards.pages import at_car, said
from tests.small_market import common_car

BAD: Mapping[str, dict[str, Any]] = {
    "a make that is nearly known": {"make": "mke 1"},
    "a model nobody knows": {"model": "Zephyrine"},
    "before the first motor car": {"year": 1700},
    "after next year": {"year": 2090},
    "an odometer below nought": {"odometer_km": -5.0},
    "an option that is none": {"options": ["overdrve"]},
    "a score outside its band": {"condition_band": "project", "condition_score": 90.0},
    "a score beyond the scale": {"condition_band": None, "condition_score": 140.0},
    "a channel that is none": {"channel": "boot sale"},
    "no make": {"make": ""},
}
Call = Callable[..., str]


@pytest.fixture(params=BAD.values(), ids=list(BAD))
def bad(request: pytest.FixtureRequest, small_market: Market) -> dict[str, Any]:
    return common_car(small_market) | request.param


@pytest.fixture
def refused(bad: dict[str, Any], small_market: Market) -> str:
    """The sentence of the library."""
    with pytest.raises(CarError) as caught:
        car_of(small_market, bad)
    return str(caught.value)


@pytest.fixture(scope="module")
def client(small_market: Market) -> Iterator[Client]:
    with serving(small_market.path) as address, Client(address) as made:
        yield made


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Call:
    """Call the command line in an empty folder: what it says on standard error."""
    monkeypatch.chdir(tmp_path)

    def run(*words: object) -> str:
        monkeypatch.setattr(sys, "argv", ["pricing", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            cli.run()
        assert stopped.value.code == 1
        return capfd.readouterr().err

    return run


def test_the_sentences_say_what_was_got_and_what_was_expected(small_market: Market) -> None:
    expected = (
        "no record of the make 'mke 1'; did you mean make 1",
        "no record of the model 'Zephyrine' of ",
        "year out of range: got 1700, expected 1885 to ",
        "year out of range: got 2090, expected 1885 to ",
        "odometer negative: got -5.0, expected 0 to 2,000,000 km",
        "option unknown: got ['overdrve'], expected one of: ",
        "condition score outside band: got 90.0, expected 0 to 25 in the band 'project'",
        "condition score out of range: got 140.0, expected 0 to 100",
        "channel unknown: got 'boot sale', expected one of: auction, dealer, private",
        "a car needs make, model and year to be valued; missing: make",
    )
    for change, words in zip(BAD.values(), expected, strict=True):
        with pytest.raises(CarError) as caught:
            car_of(small_market, common_car(small_market) | change)
        assert words in str(caught.value)
    with pytest.raises(CarError, match=r"; did you mean overdrive\?"):
        car_of(small_market, common_car(small_market) | {"options": ["overdrve"]})


def test_every_function_of_the_library_that_takes_a_car_takes_a_checked_one() -> None:
    for function in (value_car, buy_car, sell_car, find_comparables):
        assert get_type_hints(function)["car"] is Car


def test_cars_are_made_in_one_place() -> None:
    """Nothing but ``Car.checked`` makes one; a change of one that was checked is a ``replace``."""
    makers = [
        str(path)
        for path in Path("pricing").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Car"
    ]
    assert makers == []


def test_the_list_of_fields_is_that_of_the_car_and_of_the_contract() -> None:
    kinds = {"text": pl.String, "texts": pl.List(pl.String), "whole": pl.Int16, "number": pl.Float64}
    assert [field.name for field in fields(Car)] == list(FIELDS)
    assert set(FIELDS) - {"channel"} <= {field.name for field in fields(Subject)}
    for name, field in FIELDS.items():
        assert pl.Schema(Contract)[name] == {**kinds, "yes or no": pl.Boolean}[field.kind]
        assert field.read(field.example) == field.example


def test_the_example_of_every_field_is_a_car() -> None:
    names = Names.of(pl.DataFrame([{name: FIELDS[name].example for name in ("make", "model", "variant")}]))
    example = {name: field.example for name, field in FIELDS.items()}
    assert Car.checked(example, known=names).to_dict() == example


@pytest.mark.parametrize("typed", ["corvane", " CORVANE ", "Corvané", "CORVÁNE"])
def test_names_are_found_whatever_their_capitals_accents_and_spaces(typed: str) -> None:
    names = Names.of(pl.DataFrame({"make": ["Corvane"], "model": ["Six  S"], "variant": ["Mk II"]}))
    car = Car.checked({"make": typed, "model": "six s", "variant": "mk  ii", "year": 1968}, known=names)
    assert (car.make, car.model, car.variant) == ("Corvane", "Six  S", "Mk II")


def test_a_car_is_not_valued_before_it_was_made(small_market: Market) -> None:
    known = small_market.sales()
    newest = car_of(small_market, common_car(small_market) | {"year": 2026})
    early: Any = known["event_date"].min()
    words = f"year out of range: got 2026, expected 1885 to {early.year + 1}"
    with pytest.raises(CarError, match=words):
        car_of(small_market, newest.to_dict(), at=early)
    with pytest.raises(CarError, match=words):
        newest.held(None, early)


@pytest.mark.parametrize("command", ["value", "comparables", "buy", "sell"])
def test_commands(command: str, bad: dict[str, Any], refused: str, call: Call, small_market: Market) -> None:
    words = [f"--option={code}" for code in bad.pop("options")]
    words += [
        f"--{name.removesuffix('_km').replace('_', '-')}={value}"
        for name, value in bad.items()
        if value is not None
    ]
    extra = ["--asking=5000", "--certainty=0.7"] if command == "buy" else []
    assert call(command, *words, *extra, f"--market={small_market.path}") == f"error: {refused}\n"


def test_the_api(bad: dict[str, Any], refused: str, client: Client) -> None:
    asked: Mapping[str, Callable[[], object]] = {
        "valuations": lambda: client.valuation(bad),
        "buying": lambda: client.buying(bad, certainty=0.7, asking=5000),
        "selling": lambda: client.selling(bad),
        "comparables": lambda: client.comparables(bad),
    }
    for name, ask in asked.items():
        with pytest.raises(Exception) as caught:  # noqa: PT011
            ask()
        assert refused in str(caught.value), name
    assert client.values([bad])[0]["refused"] == refused


def test_pages(bad: dict[str, Any], refused: str, small_market: Market, monkeypatch: Any) -> None:
    """The form, which every page that takes a car stands on, at a link to such a car."""
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    page = AppTest.from_string(
        "from dashboards import page_layout, url_state\n"
        "url_state.take('a page')\n"
        "if page_layout.ask_market_and_car() is not None:\n"
        "    raise SystemExit('it is taken for a car')\n",
        default_timeout=300,
    )
    assert sentence(refused) in said(at_car(page, bad))
    assert not page.exception


def terms(market: Market, subject: dict[str, Any]) -> Appraisal:
    at = last_day(market)
    assignment = {
        "kind": "model report", "market_level": "dealer", "currency": "EUR", "effective_date": at,
        "report_date": at,
    }  # fmt: skip
    return read_record({"assignment": assignment, "subject": subject})


def in_its_day(bad: dict[str, Any], market: Market) -> str:
    """The sentence at the effective date; an appraisal has a market level in place of a channel."""
    with pytest.raises(CarError) as caught:
        car_of(market, bad, at=last_day(market))
    return str(caught.value)


def test_an_appraisal(bad: dict[str, Any], small_market: Market, known: Known) -> None:
    if bad.pop("channel", None) is not None:
        pytest.skip("an appraisal has a market level in place of a channel")
    record = terms(small_market, {name: value for name, value in bad.items() if value is not None})
    with pytest.raises(CarError) as caught:
        gather(record, known)
    assert str(caught.value) == in_its_day(bad, small_market)


@pytest.fixture(scope="module")
def known(small_market: Market) -> Known:
    return Known.on(Snapshot.of(small_market), last_day(small_market), "fit-0001")


def test_a_collection(small_market: Market, known: Known, tmp_path: Path) -> None:
    bad = [common_car(small_market) | change for change in BAD.values() if "channel" not in change]
    rows = [car | {"options": ";".join(car["options"])} for car in bad]
    pl.DataFrame(rows, infer_schema_length=None).write_csv(tmp_path / "cars.csv")
    held = appraised_market(small_market, tmp_path)
    items = value_collection(held, known, terms(held, {}), read_cars(tmp_path / "cars.csv"), by="Clerk")
    assert [item.reason for item in items] == [in_its_day(car, small_market) for car in bad]


def test_an_inspection_refuses_what_no_market_need_be_asked_for(small_market: Market) -> None:
    """A sheet is filled in before the car is known, so that names wait until a market is asked."""
    for change in BAD.values():
        if set(change) & {"make", "model", "condition_band", "condition_score"}:
            continue
        with pytest.raises(CarError) as caught:
            car_of(small_market, common_car(small_market) | change)
        with pytest.raises(CarError) as found:
            Inspection.start("monocoque", common_car(small_market) | {"condition_band": None} | change)
        assert str(found.value) == str(caught.value)
