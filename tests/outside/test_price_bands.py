"""A market drawn to the trade's prices by state comes back with them (common practice, no source).

A modest, plentiful small saloon: project under 1,000; solid restorable 1,000 to 2,000; average 3,000 to
5,000; above average without being special 5,000 to 6,000; best condition 8,000 to 10,000.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel

STATES = {
    "project": (500.0, 1000.0, 5.0, 20.0),
    "solid restorable": (1000.0, 2000.0, 30.0, 45.0),
    "average": (3000.0, 5000.0, 55.0, 70.0),
    "top condition": (8000.0, 10000.0, 85.0, 100.0),
}
"""Low and high price, low and high condition score of each state."""


@pytest.fixture(scope="module")
def model() -> PriceModel:
    rng = np.random.default_rng(11)
    frames = []
    for band, (low, high, worst, best) in STATES.items():
        rows = 150
        place = rng.uniform(0.0, 1.0, rows)
        judged = np.clip(
            place + rng.normal(0.0, 0.25, rows), 0.0, 1.0
        )  # a score goes with the price, not by it
        score = np.where(rng.random(rows) < 0.5, worst + judged * (best - worst), np.nan)
        frames.append(
            pl.DataFrame(
                {
                    "make": ["Ash"] * rows,
                    "model": ["Saloon"] * rows,
                    "condition_band": [band] * rows,
                    "condition_score": score,
                    "price": np.exp(np.log(low) + place * np.log(high / low)),
                    "event_date": [
                        date(2020, 1, 1) + timedelta(days=int(d)) for d in rng.integers(0, 1500, rows)
                    ],
                }
            )
        )
    sales = pl.concat(frames).with_columns(pl.col("condition_score").fill_nan(None))
    spec = FeatureSpec(
        groups=("make", "model"),
        condition="condition_band",
        condition_score="condition_score",
        event_date="event_date",
    )
    return PriceModel(spec).fit(sales)


def car(**values: object) -> pl.DataFrame:
    return pl.DataFrame(
        {"make": ["Ash"], "model": ["Saloon"], **{name: [value] for name, value in values.items()}}
    )


@pytest.mark.parametrize("band", list(STATES))
def test_each_state_comes_back(model: PriceModel, band: str) -> None:
    low, high, _, _ = STATES[band]
    found = model.price_range(car(condition_band=band), coverage=0.8)
    assert found["reason"].item() is None
    assert low < found["mid"].item() < high
    tenth, ninetieth = low * (high / low) ** 0.1, low * (high / low) ** 0.9  # of prices drawn evenly in logs
    assert found["low"].item() == pytest.approx(tenth, rel=0.15)
    assert found["high"].item() == pytest.approx(ninetieth, rel=0.15)


def test_above_average_lies_between_average_and_best(model: PriceModel) -> None:
    mid = model.price_range(car(condition_score=75.0))["mid"].item()
    assert 5000.0 <= mid <= 6500.0


def test_states_keep_their_order(model: PriceModel) -> None:
    mids = [model.price_range(car(condition_band=band))["mid"].item() for band in STATES]
    assert mids == sorted(mids)
