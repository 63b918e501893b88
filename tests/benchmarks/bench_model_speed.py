"""Speed of the price model beside one LightGBM median model with 500 trees, on the same frame in the same
run.

Prints a table: rows, seconds of each and their ratio, memory, one car's p50 and p99, a million cars, a
day's sales added. Run by::

    pytest -m benchmark -n 0 -s tests/benchmarks/bench_model_speed.py
"""

import resource
import time
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.model.price_model import PriceModel
from pricing.model.spec import FeatureSpec
from tests.benchmarks.peers import matrix

pytestmark = pytest.mark.benchmark
MODELS = 2_000


def seconds_of_lightgbm(frame: pl.DataFrame) -> float:
    """One median model of the sold rows; making its matrix is not counted."""
    import lightgbm

    spec = FeatureSpec.cars()
    sold = frame.filter(pl.col("outcome") == "sold")
    X, _, codes = matrix(spec, sold, sold[:1])
    y = sold["price"].cast(pl.Float64).log().to_numpy()
    model = lightgbm.LGBMRegressor(objective="quantile", alpha=0.5, n_estimators=500, verbose=-1, n_jobs=2)
    start = time.perf_counter()
    model.fit(X, y, categorical_feature=codes)
    return time.perf_counter() - start


@pytest.mark.parametrize("rows", [100_000, 1_000_000])
def test_fit_and_calibrate(rows: int) -> None:
    frame, _ = simulate_market(rows, MODELS, 3, all_sold=True)
    frame = frame.sort("event_date")
    start = time.perf_counter()
    model = PriceModel(FeatureSpec.cars()).fit(frame)
    ours = time.perf_counter() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    peer = seconds_of_lightgbm(frame)
    cars = frame.drop("price", "amount").sample(min(rows, 1_000_000), seed=1)
    start = time.perf_counter()
    model.price_range(cars)
    many = time.perf_counter() - start
    single = []
    for row in range(500):
        start = time.perf_counter()
        model.price_range(cars[row : row + 1])
        single.append(1000.0 * (time.perf_counter() - start))
    last = frame["event_date"].max()
    day = frame[-max(rows // 3650, 1) :].with_columns(event_date=pl.lit(last) + timedelta(days=1))
    grown = pl.concat([frame, day])
    start = time.perf_counter()
    warm = PriceModel(FeatureSpec.cars()).fit(grown, start=model)
    update = time.perf_counter() - start
    full = PriceModel(FeatureSpec.cars()).fit(grown)
    some = cars[:5_000]
    apart = warm.log_mid(some) - full.log_mid(some)
    print(
        f"\n{rows:,} sales, {MODELS:,} models\n"
        f"fit and calibrate       {ours:8.1f} s\n"
        f"LightGBM median model   {peer:8.1f} s   ratio {ours / peer:.2f}\n"
        f"peak memory             {memory:8.2f} GB\n"
        f"{len(cars):,} cars priced  {many:8.2f} s\n"
        f"one car                 p50 {np.median(single):.2f} ms   p99 {np.quantile(single, 0.99):.2f} ms\n"
        f"a day's sales added     {update:8.1f} s   within {np.abs(apart).max():.4f} (log) of a full fit"
    )
    assert ours < peer or rows < 1_000_000
