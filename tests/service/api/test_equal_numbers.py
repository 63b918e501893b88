"""Library, command line, API and the dashboard's facts give the same digits for the same car."""

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboards.caches import MarketState
from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.service.cli import app
from pricing.service.client import Client
from pricing.store import Market
from pricing.store_state import read_state
from tests.small_market import common_car

ASKING = Decimal("5150")

Facts = dict[str, Any]
Way = Callable[[Market, Client, Facts], Facts]


def by_library(market: Market, client: Client, car: Facts) -> Facts:
    return value_car(market, load(market), car, asking=ASKING).to_dict()


def by_command_line(market: Market, client: Client, car: Facts) -> Facts:
    words = ["value", "--market", str(market.path), "--asking", str(ASKING), "--json"]
    for name, said in car.items():
        if name == "options":
            words += [word for option in said for word in ("--option", option)]
        elif said is not None:
            words += [f"--{name.replace('_', '-').removesuffix('-km')}", str(said)]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    facts: Facts = json.loads(done.stdout)
    return facts


def by_api(market: Market, client: Client, car: Facts) -> Facts:
    return client.valuation({**car, "asking": ASKING})


def by_dashboard(market: Market, client: Client, car: Facts) -> Facts:
    """What the first page shows is ``value_car`` of the sales and the model in its caches."""
    stored = read_state(market.path)
    state = MarketState(
        str(market.path), stored.records, stored.fit, stored.stale, stored.batches, False, (0, 0)
    )
    return value_car(state, load(state.market, state.fit), car, asking=ASKING).to_dict()


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
