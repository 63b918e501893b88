"""Mend or buy better on the demo market: the usual result of the trade must come out, and its exceptions.

Common practice, no source: a better car at a higher price usually costs less in the end than a poor one put
right.
"""

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

import data_demo
from pricing.car import Car
from pricing.condition.assessment import assess
from pricing.condition.checks import STATES
from pricing.condition.inspection import Finding, Inspection
from pricing.condition.repairs import price_repairs
from pricing.decisions.car_price import PriceByScore, inspected
from pricing.decisions.mending import mend_or_buy
from pricing.decisions.simulation import simulate
from pricing.model.price_model import PriceModel
from tests.condition.walks import car_frame, catalogue

TIRED = (0.35, 0.45, 0.17, 0.03)
"""Shares of ``STATES`` in an ordinary tired car."""

MODELS = pl.read_csv(Path(data_demo.__file__).parent / "catalogue.csv")


def start(model: dict[str, Any]) -> Inspection:
    car = {"make": model["make"], "model": model["model"], "year": model["first_year"] + 2}
    return Inspection.start(model["construction"], car)


def top_row(model: PriceModel, found: Inspection) -> dict[str, Any]:
    """The comparison with a car in top condition."""
    costs = price_repairs(assess(found, draws=500), catalogue(), country="GB")
    car = inspected(Car(**found.car), costs.result)
    at = date.fromisoformat(model.facts["last_date"])
    return mend_or_buy(simulate(model, car, at, inspection=costs.result), costs).goals.row(-1, named=True)


def tired_rows(model: PriceModel, models: pl.DataFrame) -> pl.DataFrame:
    rng = np.random.default_rng(1)
    rows = []
    for row in models.iter_rows(named=True):
        begun = start(row)
        states = rng.choice(len(STATES), p=TIRED, size=len(begun.sheet.checks)).tolist()
        found = begun.fill(
            Finding(check.id, STATES[state]) for check, state in zip(begun.sheet.checks, states, strict=True)
        )
        rows.append(top_row(model, found))
    return pl.DataFrame(rows)


def test_buying_the_better_car_wins_for_most_ordinary_cars(demo_model: PriceModel) -> None:
    ordinary = MODELS.filter(pl.col("average_price") < 8000).top_k(12, by="weight")
    rows = tired_rows(demo_model, ordinary)
    assert (rows["chance_cheaper"] < 0.5).mean() > 0.75  # type: ignore[operator]
    assert (rows["expected_difference"] > 0).mean() > 0.75  # type: ignore[operator]


def test_there_are_exceptions_among_dear_cars(demo_model: PriceModel) -> None:
    dear = MODELS.filter(pl.col("average_price") > 14000).top_k(4, by="weight")
    rows = tired_rows(demo_model, dear)
    assert "mend" in rows["answer"].to_list()


def test_one_local_repair_does_not_condemn_a_sound_car(demo_model: PriceModel) -> None:
    sedge = MODELS.filter(pl.col("model") == "Sedge").row(0, named=True)
    begun = start(sedge)
    found = begun.fill(Finding(check.id, "sound") for check in begun.sheet.checks)
    found = found.record("chassis_side_rails", "needs repair")
    row = top_row(demo_model, found)
    assert row["answer"] in ("too close to call", "mend")
    assert row["highest_price"] > 0.5 * row["better_car_mid"]


def test_prices_by_state_of_the_modest_saloon_come_back(demo_model: PriceModel) -> None:
    sedge = MODELS.filter(pl.col("model") == "Sedge").row(0, named=True)
    prices = PriceByScore.ask(demo_model, car_frame(start(sedge)))
    for score, low, high in ((12.5, 0, 1000), (37.5, 1000, 2000), (62.5, 3000, 5000), (87.5, 8000, 10000)):
        assert low <= prices.mixture(np.full(10, score)).mid.item() <= high


def test_a_car_half_seen_has_a_wider_price_range(demo_model: PriceModel) -> None:
    sedge = MODELS.filter(pl.col("model") == "Sedge").row(0, named=True)
    begun = start(sedge)
    prices = PriceByScore.ask(demo_model, car_frame(begun))
    worn = [Finding(check.id, "worn") for check in begun.sheet.checks]
    widths = [
        float(np.diff(np.log(prices.mixture(assess(begun.fill(seen)).draws).ppf([0.1, 0.9])[0]))[0])
        for seen in (worn, worn[::2], worn[::8])
    ]
    assert widths[0] < widths[1] < widths[2]
