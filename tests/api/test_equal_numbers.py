"""Library, command line, API and the dashboard's facts give the same digits for the same car."""

import json
import time
import tomllib
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from pricing.api.client import Client, ProblemError
from pricing.car_names import Names
from pricing.cli.main import app
from pricing.condition.assessment import assess
from pricing.condition.catalogue import Catalogue, quotes_of
from pricing.condition.inspection_files import FORMAT, open_inspection
from pricing.condition.repairs import price_repairs
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.car_list import value_list
from pricing.decisions.car_price import inspected
from pricing.decisions.mending import mend_or_buy
from pricing.decisions.plain import plain
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import selling_evidence
from pricing.decisions.simulation import simulate
from pricing.decisions.valuation import value_car
from pricing.errors import MoneyError
from pricing.model.saved import load
from pricing.money.charges import Schedule, read_schedule
from pricing.operations.bundled import DEMO_CATALOGUE, DEMO_CHARGES
from pricing.operations.opening import standing_warning
from pricing.snapshot import Snapshot
from pricing.snapshot_source import source_of
from pricing.store.market import Market
from tests.api.servers import copied, serving
from tests.cars import car_of
from tests.small_market import common_car

ASKING = Decimal("5150")

Facts = dict[str, Any]
Way = Callable[[Market, Client, Facts], Facts]


def by_library(market: Market, client: Client, car: Facts) -> Facts:
    return value_car(market, load(market), car_of(market, car), asking=ASKING).to_dict()


def by_command_line(market: Market, client: Client, car: Facts) -> Facts:
    return by_command("value", car, ["--market", market.path, "--asking", ASKING, "--json"])


def by_api(market: Market, client: Client, car: Facts) -> Facts:
    found = client.valuation({**car, "asking": ASKING})
    assert found.pop("warning") == standing_warning(market.state())
    return found


def by_dashboard(market: Market, client: Client, car: Facts) -> Facts:
    """What the first page shows is ``value_car`` of one model's records in the snapshot."""
    snapshot = source_of(market.path).newest()
    named = snapshot.car(car)
    records = snapshot.of_model(named.make, named.model)
    return value_car(records, snapshot.model, named, asking=ASKING).to_dict()


def cars(market: Market) -> dict[str, Facts]:
    graded = common_car(market)
    return {
        "graded": graded,
        "ungraded": {name: graded[name] for name in ("make", "model", "year")},
        "best": {**graded, "condition_band": "top condition", "options": []},
    }


@pytest.mark.parametrize("which", ["graded", "ungraded", "best"])
@pytest.mark.parametrize("way", [by_command_line, by_api, by_dashboard])
def test_every_way_gives_the_same_digits(small_market: Market, client: Client, way: Way, which: str) -> None:
    car = cars(small_market)[which]
    expected = json.loads(json.dumps(by_library(small_market, client, car)))
    assert way(small_market, client, car) == expected


@pytest.mark.parametrize("which", ["graded", "ungraded", "best"])
def test_a_list_gives_the_digits_of_each_car_alone(small_market: Market, client: Client, which: str) -> None:
    asked = {**cars(small_market)[which], "asking": ASKING}
    alone = client.valuation(asked)
    others = [{**asked, "year": 1950 + place} for place in range(40)]
    for found in (client.value(asked), client.values([*others, asked])[-1]):
        assert {name: found[name] for name in ("low", "mid", "high", "evidence", "reason")} == {
            name: alone[name] for name in ("low", "mid", "high", "evidence", "reason")
        }
        assert found["standing"] == round(alone["standing"], 6)
    assert client.standing(asked)["standing"] == round(alone["standing"], 6)
    assert client.contributions(asked)["terms"] == alone["terms"]


WALK: Facts = {
    "format": FORMAT,
    "construction": "monocoque",
    "findings": [
        {"check": "shell_outer_sills", "state": "needs repair"},
        {"check": "engine_smoke", "state": "worn"},
    ],
}
AT = "2026-07-01"
"""A day on which the example charges are in force."""


def offered(market: Market) -> tuple[Facts, Facts]:
    """A car without a stated condition, and the sheet of what was found of it."""
    car = {name: said for name, said in common_car(market).items() if name != "condition_band"}
    return car, {**WALK, "car": {name: car[name] for name in ("make", "model", "year")}}


def asked_with_charges(market: Market) -> tuple[Facts, Facts, Schedule]:
    """A car, its inspection, and charges, the last two in a question's form."""
    car, walk = offered(market)
    given = tomllib.loads(DEMO_CHARGES.read_text(encoding="utf-8"))
    given["charges"] = given.pop("charge")
    stated = json.loads(json.dumps(given, default=str))
    return (
        car,
        {"charges": stated, "inspection": walk, "work_in": "GB", "as_of": AT},
        read_schedule(DEMO_CHARGES),
    )


JOB = "charging_overhaul"


def typed(car: Facts) -> list[str]:
    """A car as options of a command."""
    words = []
    for name, told in car.items():
        if name == "options":
            words += [word for option in told for word in ("--option", option)]
        elif told is not None:
            words += [f"--{name.replace('_', '-').removesuffix('-km')}", str(told)]
    return words


def by_command(command: str, car: Facts, words: list[Any]) -> Facts:
    """The facts that a command prints."""
    done = CliRunner().invoke(app, [command, *typed(car), *map(str, words)])
    assert done.exit_code == 0, done.output
    facts: Facts = json.loads(done.stdout)
    return facts


def test_mending_gives_the_digits_of_the_library(
    small_market: Market, client: Client, tmp_path: Path
) -> None:
    car, walk = offered(small_market)
    (tmp_path / "walk.json").write_text(json.dumps(walk))
    seen, model = assess(open_inspection(tmp_path / "walk.json")), load(small_market)
    costs = price_repairs(seen, Catalogue.open(DEMO_CATALOGUE), country="GB", currency="EUR")
    at = date.fromisoformat(model.facts["last_date"])
    drawn = simulate(model, inspected(car_of(small_market, car), seen), at, inspection=seen, seed=7)
    expected = plain(mend_or_buy(drawn, costs, asking=ASKING, seed=7))
    found = client.mending(car, walk, work_in="GB", asking=ASKING, seed=7)
    warning = standing_warning(small_market.state())
    assert found == json.loads(json.dumps(expected)) | {"warning": warning}
    bought = client.buying(
        {**car, "channel": "private"}, certainty=0.6, asking=ASKING, inspection=walk, work_in="GB", seed=7
    )
    mended = bought["better"]["goals"][0]
    private = client.mending({**car, "channel": "private"}, walk, work_in="GB", asking=ASKING, seed=7)
    assert mended == private["goals"][0]
    assert float(bought["repairs"]["mid"]) == pytest.approx(mended["budget_mid"], abs=0.005)


@pytest.mark.parametrize("wrong", ["1", "9000000000"])
def test_an_amount_that_cannot_be_meant_is_refused_by_one_sentence(
    small_market: Market, client: Client, wrong: str
) -> None:
    car = {**common_car(small_market), "channel": "private"}
    said = f"asking price absurd: got {wrong}, expected 10 to 250,000,000"
    for ask in (
        lambda: client.valuation({**car, "asking": wrong}),
        lambda: client.buying(car, certainty=0.6, asking=wrong),
        lambda: client.selling(car, asking=wrong),
    ):
        with pytest.raises(ProblemError, match=said) as caught:
            ask()
        assert caught.value.status == 422
    assert client.values([{**car, "asking": wrong}])[0]["refused"] == said
    with pytest.raises(MoneyError, match=said):
        value_car(small_market, load(small_market), car_of(small_market, car), asking=Decimal(wrong))


def test_in_a_currency_of_small_units_amounts_reach_further_at_every_door(
    small_market: Market, client: Client
) -> None:
    """A yen buys so little that a fine car costs hundreds of millions of them."""
    car, most = {**common_car(small_market), "channel": "private"}, 10_000 * 250_000_000
    said = f"asking price absurd: got {most + 1}, expected 10 to {most:,}"
    fine = client.buying(car, certainty=0.6, asking=300_000_000, currency="JPY")
    words = ["--market", small_market.path, "--certainty", 0.6, "--asking", "JPY 300000000", "--json"]
    assert by_command("buy", car, words) == {name: told for name, told in fine.items() if name != "warning"}
    with pytest.raises(ProblemError, match=said):
        client.buying(car, certainty=0.6, asking=most + 1, currency="JPY")
    with pytest.raises(MoneyError, match=said):
        CliRunner().invoke(
            app, ["buy", *typed(car), *map(str, words[:-2]), f"JPY {most + 1}"], catch_exceptions=False
        )
    listed = pl.DataFrame([{**car, "asking": amount} for amount in (300_000_000, most + 1)])
    names, model = Names.of(small_market.sales()), load(small_market)
    yen = value_list(names, model, listed, currency="JPY")["refused"].to_list()
    assert yen == [None, said]
    euros = value_list(names, model, listed, currency="EUR")["refused"].to_list()
    assert euros[0] == "asking price absurd: got 300000000, expected 10 to 250,000,000"


@pytest.mark.parametrize("wrong", ["-1", "9000000000"])
def test_a_quote_that_cannot_be_meant_is_refused_by_one_sentence(
    small_market: Market, client: Client, tmp_path: Path, wrong: str
) -> None:
    car, walk = offered(small_market)
    said = f"quote for charging overhaul absurd: got {wrong}, expected 0 to 250,000,000"
    for ask in (
        lambda: client.buying(
            {**car, "channel": "private"}, certainty=0.6, asking=5000, inspection=walk, work_in="GB",
            quotes={JOB: wrong},
        ),
        lambda: client.selling(car, inspection=walk, work_in="GB", quotes={JOB: wrong}),
        lambda: client.mending(car, walk, work_in="GB", quotes={JOB: wrong}),
    ):  # fmt: skip
        with pytest.raises(ProblemError, match=said) as caught:
            ask()
        assert caught.value.status == 422
    (tmp_path / "walk.json").write_text(json.dumps(walk))
    words = ["--market", small_market.path, "--inspection", tmp_path / "walk.json", "--work-in", "GB"]
    with pytest.raises(MoneyError, match=said):
        CliRunner().invoke(
            app, ["sell", *typed(car), *map(str, words), f"--quote={JOB}={wrong}"], catch_exceptions=False
        )
    with pytest.raises(MoneyError, match=said):
        quotes_of({JOB: Decimal(wrong)}, "EUR", date(2026, 6, 30))


@pytest.mark.parametrize("side", ["buyer", "seller"])
def test_charges_and_an_inspection_give_the_digits_of_the_library(
    small_market: Market, client: Client, tmp_path: Path, side: str
) -> None:
    car, asked, schedule = asked_with_charges(small_market)
    (tmp_path / "walk.json").write_text(json.dumps(asked["inspection"]))
    seen = assess(open_inspection(tmp_path / "walk.json"))
    catalogue = Catalogue.open(DEMO_CATALOGUE)
    words = [
        "--json", "--market", small_market.path, "--charges", DEMO_CHARGES, "--as-of", AT, "--work-in", "GB",
        "--inspection", tmp_path / "walk.json", "--quote", f"{JOB}=900", "--seed", 7,
    ]  # fmt: skip
    given: Facts = {
        "schedule": schedule, "inspection": seen, "as_of": date.fromisoformat(AT),
        "costs": price_repairs(
            seen, catalogue, country="GB", currency="EUR",
            quotes=quotes_of({JOB: Decimal(900)}, "EUR", catalogue.price_date),
        ),
        "seed": 7,
    }  # fmt: skip
    asked |= {"quotes": {JOB: "900"}, "seed": 7}
    model = load(small_market)
    if side == "buyer":
        there = {**car, "channel": "auction"}
        terms = BuyerTerms("EUR", 0.7, transport=Decimal(250), import_from="GB")
        expected = buy_car(
            small_market, model, car_of(small_market, there), terms, asking=ASKING,
            indexed=Snapshot.of(small_market).comparables_index, **given,
        ).to_dict()  # fmt: skip
        words += ["--certainty", 0.7, "--transport", 250, "--import-from", "GB", "--asking", ASKING]
        printed = by_command("buy", there, words)
        found = client.buying(there, certainty=0.7, transport=250, import_from="GB", asking=ASKING, **asked)
        assert found["rates"].startswith("Invented example charges") and found["better"] is not None
        assert "buyer's premium" not in found["open_lines"]
    else:
        offer = SellerTerms(
            "EUR", own_value=Decimal(3000), reserve=Decimal(3800), bidders=4,
            papers={"history file": Decimal(80)},
        )  # fmt: skip
        evidence = selling_evidence(small_market, model)
        expected = sell_car(
            small_market, model, car_of(small_market, car), offer, evidence=evidence, **given
        ).to_dict()
        found = client.selling(
            car, own_value=3000, reserve=3800, bidders=4, papers={"history file": "80"}, **asked
        )
        assert found["rates"].startswith("Invented example charges")
        assert "repair" in [row["kind"] for row in found["first"]]
        words += ["--keep-value", 3000, "--reserve", 3800, "--bidders", 4, "--paper", "history file=80"]
        printed = by_command("sell", car, words)
    assert printed == json.loads(json.dumps(expected))
    warning = standing_warning(small_market.state())
    assert found == json.loads(json.dumps(expected)) | {"warning": warning}


def test_the_charges_of_the_settings_are_used_when_asked_for(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    car, asked, _ = asked_with_charges(small_market)
    offer: Facts = {"asking": 4200, "certainty": 0.7, "as_of": AT}
    there = {**car, "channel": "auction"}
    with serving(own.path) as address, Client(address) as client:
        without = client.buying(there, **offer)
        assert client.buying(there, kept_charges=True, **offer) == without, "there are none yet"
        own.keep_settings({"charges": DEMO_CHARGES.read_text(encoding="utf-8")})
        given = client.buying(there, charges=asked["charges"], **offer)
        deadline = time.monotonic() + 30
        while client.buying(there, kept_charges=True, **offer) == without and time.monotonic() < deadline:
            time.sleep(0.05)
        assert client.buying(there, kept_charges=True, **offer) == given != without


def test_charges_that_make_no_sense_are_refused_in_a_line(small_market: Market, client: Client) -> None:
    car, asked, _ = asked_with_charges(small_market)
    charge = asked["charges"]["charges"][1]
    for wrong, told in (
        ({"tiers": [{"rate": 0.1, "up_to": 5}]}, "only the last one is without up_to"),
        ({"currency": "XXQ"}, "XXQ"),
        ({"from": "2027-01-01"}, "is in force on 2026-07-01"),
        ({"tax": 1.5}, "less than 1"),
    ):
        with pytest.raises(ProblemError, match=told) as caught:
            client.selling(car, as_of=AT, charges={"charges": [{**charge, **wrong}]})
        assert caught.value.status == 422
