"""Every number of the demo market that a change of the model would move, seen: fifty cars and their ranges.

The file ``golden_prices.json`` holds the cars as asked and the answers. When a change of the model is meant
to change prices, it is written anew, and the difference is part of that change, by::

    GOLDEN=write .venv/bin/pytest -n 0 tests/model/test_golden_prices.py
"""

import json
import os
from datetime import date
from pathlib import Path
from typing import Any, Final

import polars as pl
import pytest

from pricing.model.price_model import PriceModel
from pricing.store.market import Market
from pricing.vocabulary import CONDITION_BANDS

FILE: Final = Path(__file__).parent / "golden_prices.json"
CARS: Final = 50
TOLERANCE: Final = 1e-5
"""Relative: another processor may round otherwise, no more."""
SAID: Final[dict[str, Any]] = {
    "make": pl.String, "model": pl.String, "variant": pl.String, "year": pl.Int16, "body_style": pl.String,
    "drive_side": pl.String, "condition_band": pl.String, "condition_score": pl.Float64,
    "odometer_km": pl.Float64, "options": pl.List(pl.String), "matching_numbers": pl.String,
    "history_file": pl.Boolean, "channel": pl.String, "country": pl.String, "event_date": pl.Date,
}  # fmt: skip
ODD: Final[list[dict[str, Any]]] = [
    {"make": "Wexcombe"},
    {"make": "Wexcombe", "model": "never made", "condition_band": "average", "channel": "private"},
    {"make": "never heard of", "model": "never made", "condition_band": "average"},
    {"make": "Wexcombe", "model": "Sedge", "condition_band": "project", "condition_score": 0.0, "year": 1966},
    {"make": "Wexcombe", "model": "Sedge", "condition_band": "top condition", "condition_score": 100.0},
    {"make": "Wexcombe", "model": "Sedge", "condition_band": "average", "event_date": date(2027, 6, 30)},
    {
        "make": "Wexcombe",
        "model": "Sedge",
        "condition_band": "average",
        "odometer_km": 900_000.0,
        "year": 1899,
    },
]
"""Cars of which little is known, never seen, at the ends of the scale, a year ahead, far from all others."""


def chosen_cars(sales: pl.DataFrame) -> pl.DataFrame:
    """Cars spread over bands (none among them) and makes, each as it was sold, and the odd ones."""
    kinds = [*CONDITION_BANDS, None]
    sold = sales.filter(pl.col("outcome") == "sold").sort("record_id")
    each = -(-(CARS - len(ODD)) // len(kinds))
    parts = [
        sold.filter(pl.col("condition_band").eq_missing(band))
        .unique("make", keep="first", maintain_order=True)
        .gather_every(2, place % 2)
        .head(each)
        for place, band in enumerate(kinds)
    ]
    ordinary = pl.concat(parts).head(CARS - len(ODD)).select(*SAID).cast(SAID)  # type: ignore[arg-type]
    return pl.concat([ordinary, pl.DataFrame(ODD, schema=SAID)])


def priced(model: PriceModel, cars: pl.DataFrame) -> pl.DataFrame:
    """Low, mid and high to the cent, evidence and reason."""
    return model.price_range(cars).with_columns(pl.col("low", "mid", "high").round(2))


def read_golden() -> tuple[pl.DataFrame, pl.DataFrame]:
    """The cars as asked, and what was answered."""
    rows = json.loads(FILE.read_text(encoding="utf-8"))
    cars = pl.DataFrame([row["car"] for row in rows], schema=SAID | {"event_date": pl.String})
    answers = pl.DataFrame([row["answer"] for row in rows], infer_schema_length=None)
    return cars.with_columns(pl.col("event_date").str.to_date()), answers


def write_golden(cars: pl.DataFrame, answers: pl.DataFrame) -> None:
    """A line a car, so that a difference reads as one."""
    rows = zip(cars.iter_rows(named=True), answers.iter_rows(named=True), strict=True)
    lines = [
        json.dumps(
            {"car": {name: said for name, said in car.items() if said is not None}, "answer": answer},
            default=str,
        )
        for car, answer in rows
    ]
    FILE.write_text("[\n" + ",\n".join(lines) + "\n]\n", encoding="utf-8")


def test_prices_are_those_on_file(demo_model: PriceModel, demo_market: Market) -> None:
    if os.environ.get("GOLDEN") == "write":
        cars = chosen_cars(demo_market.sales())
        write_golden(cars, priced(demo_model, cars))
    cars, expected = read_golden()
    found = priced(demo_model, cars)
    for name in ("evidence", "reason"):
        assert found[name].to_list() == expected[name].to_list()
    for name in ("low", "mid", "high"):
        ours, theirs = (side[name].fill_null(0.0).to_list() for side in (found, expected))  # 0: refused
        assert ours == pytest.approx(theirs, rel=TOLERANCE), name


def test_the_cars_on_file_are_of_many_kinds() -> None:
    cars, answers = read_golden()
    assert len(cars) == CARS
    assert cars["make"].n_unique() >= 10 and cars["model"].n_unique() >= 25
    assert cars["condition_band"].value_counts()["count"].min() >= 5  # type: ignore[operator]
    assert cars["event_date"].dt.year().n_unique() >= 8
    assert 10 <= cars["condition_score"].count() <= 40
    assert cars["options"].list.len().max() >= 2  # type: ignore[operator]
    assert answers["evidence"].n_unique() >= 3 and 1 <= answers["reason"].count() <= 5
