"""Small markets and fits that the tests of market evidence share."""

from datetime import date
from functools import cache

import numpy as np
import polars as pl

from data_demo.simulated import SimulatedTruth, simulate_market
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel

TODAY = date(2026, 6, 30)


@cache
def small_market() -> tuple[pl.DataFrame, SimulatedTruth]:
    """1,000 rows of 30 models."""
    return simulate_market(1000, 30, seed=7)


@cache
def small_model() -> PriceModel:
    """A price model fitted to :func:`small_market`."""
    return PriceModel(FeatureSpec.cars()).fit(small_market()[0])


@cache
def small_book() -> ComparablesIndex:
    """Its sales, laid out."""
    return ComparablesIndex.build(small_market()[0], small_model())


def plain_sales(rows: int = 400, seed: int = 1, *, years: int = 4, drift: float = 0.05) -> pl.DataFrame:
    """Sold cars of four models whose log price is known: level by model, +.3 a step of condition, ``drift`` a
    year, noise of .1."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.integers(0, 365 * years, rows))
    band = rng.integers(0, 4, rows)
    model = rng.integers(0, 4, rows)
    logs = 9 + 0.2 * model + 0.3 * band + drift * days / 365 + rng.normal(0, 0.1, rows)
    bands = np.array(["project", "solid restorable", "average", "top condition"])
    return pl.DataFrame(
        {
            "record_id": [f"r{k}" for k in range(rows)],
            "make": ["Ash"] * rows,
            "model": [f"M{m}" for m in model],
            "variant": [None] * rows,
            "chassis_number": [f"C{k}" for k in range(rows)],
            "condition_band": bands[band],
            "outcome": ["sold"] * rows,
            "channel": ["auction"] * rows,
            "event_date": [date.fromordinal(date(2020, 1, 1).toordinal() + int(d)) for d in days],
            "price": np.exp(logs),
        },
        schema_overrides={"variant": pl.String},
    )


PLAIN = FeatureSpec(groups=("make", "model"), condition="condition_band", event_date="event_date")


def one_model(rows: int, seed: int, *, years: int) -> pl.DataFrame:
    """Sold cars of one model, +.03 of log price every calendar year, some of them sold again; a third of them
    not graded, which scatter more; heavy tails."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.integers(0, 365 * years, rows))
    band = rng.choice(5, rows, p=[0.1, 0.2, 0.25, 0.1, 0.35])
    spread = np.array([0.32, 0.24, 0.18, 0.16, 0.75])[band]
    dates = [date.fromordinal(date(2016, 1, 1).toordinal() + int(day)) for day in days]
    level = (
        9.0
        + np.array([-0.9, -0.3, 0.0, 0.4, 0.0])[band]
        + 0.03 * np.array([day.year - 2016 for day in dates])
    )
    logs = level + spread * rng.standard_t(6, rows) / np.sqrt(1.5)
    bands = np.array(["project", "solid restorable", "average", "top condition", None])
    return pl.DataFrame(
        {
            "make": ["Ash"] * rows,
            "model": ["M0"] * rows,
            "chassis_number": [f"C{k}" for k in rng.integers(0, max(1, rows * 9 // 10), rows)],
            "condition_band": bands[band].tolist(),
            "outcome": ["sold"] * rows,
            "event_date": dates,
            "price": np.exp(logs),
        },
    )
