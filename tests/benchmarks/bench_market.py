"""How fast and how right the market evidence is: comparables, index, leave-one-out.

Run: ``pytest -m benchmark -n 0 -s tests/benchmarks/bench_market.py``. ``BENCH_ROWS`` sets the size of the
large market (1,000,000 by default; 10,000,000 needs some 20 GB of memory). The price model is fitted to
20,000 of the same rows, as no timing here is of its fit; the market and its seed are the same every time.
"""

import os
import time
from collections.abc import Callable
from functools import cache, partial
from typing import Any

import numpy as np
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.car import Car
from pricing.car_fields import FIELDS
from pricing.car_names import Names
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex, leave_one_out, summary
from pricing.evidence.indices.index import price_index
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel

pytestmark = pytest.mark.benchmark

ROWS = int(os.environ.get("BENCH_ROWS", "1000000"))
QUESTIONS = 200
MODELS = 300


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    start = time.perf_counter()
    return work(), time.perf_counter() - start


def show(title: str, rows: list[tuple[str, str]]) -> None:
    print(f"\n{title}")
    for name, value in rows:
        print(f"  {name:<58}{value:>18}")


@cache
def large_market() -> pl.DataFrame:
    return simulate_market(ROWS, MODELS, seed=11, all_sold=True)[0]


@cache
def model_of_it() -> PriceModel:
    return PriceModel(FeatureSpec.cars()).fit(large_market()[:20_000])


def test_twenty_comparables_out_of_a_large_market() -> None:
    model = model_of_it()
    indexed, build = timed(partial(ComparablesIndex.build, large_market(), model))
    rng = np.random.default_rng(1)
    drawn = (
        indexed.sales[rng.integers(0, len(indexed.sales), QUESTIONS)].select(list(FIELDS)).rows(named=True)
    )
    names = Names.of(indexed.sales)
    cars = [Car.checked(row, known=names) for row in drawn]
    find_comparables(indexed, cars[0], count=20)
    seconds = [timed(partial(find_comparables, indexed, car, count=20))[1] for car in cars]
    middle, p99 = np.quantile(seconds, [0.5, 0.99])
    show(
        f"twenty comparables out of {ROWS:,} sales, {QUESTIONS} cars",
        [
            ("laying the sales out, once", f"{build:.1f} s"),
            ("one car, median", f"{1000 * middle:.0f} ms"),
            ("one car, 99th percentile", f"{1000 * p99:.0f} ms"),
        ],
    )


def test_index_over_a_large_market() -> None:
    rows = []
    methods: dict[str, dict[str, Any]] = {
        "time dummy by quarter, one regression": {},
        "time dummy by quarter, rolling window of 8": {"window": 8},
        "fisher by quarter": {"method": "fisher"},
        "repeat sales by quarter": {"method": "repeat sales"},
    }
    for name, how in methods.items():
        _, seconds = timed(partial(price_index, large_market(), **how))
        rows.append((name, f"{seconds:.1f} s"))
    show(f"an index over {ROWS:,} sales", rows)


def test_leave_one_out_over_twenty_thousand() -> None:
    """In the sample of the price model, and after it: fitted to the earlier four fifths, asked for the
    rest."""
    market = simulate_market(20_000, MODELS, seed=12, all_sold=True)[0].sort("event_date")
    cut = market["event_date"][16_000]
    measures = [
        "estimate", "evidence", "asked", "sales", "median_ratio", "cod", "cod_low", "cod_high", "prd", "prb",
        "inside",
    ]  # fmt: skip
    for title, seen, day in (
        ("every sale left out once; the model has seen them all", market, None),
        ("sales after those the model has seen", market[:16_000], cut),
    ):
        model = PriceModel(FeatureSpec.cars()).fit(seen)
        indexed = ComparablesIndex.build(market, model)
        valued, seconds = timed(partial(leave_one_out, indexed, model, from_day=day))
        show(title, [(f"{len(valued):,} sales valued", f"{seconds:.1f} s")])
        with pl.Config(tbl_cols=20, tbl_rows=30, tbl_width_chars=180, float_precision=3):
            print(summary(valued).select(measures))
            print("graded cars only")
            print(summary(valued.filter(pl.col("graded"))).select(measures))
