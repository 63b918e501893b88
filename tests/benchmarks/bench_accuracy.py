"""Accuracy of the price model beside its general-purpose peers: same forward splits, same columns, one
configuration.

Prints mean pinball loss over seven levels of log price, times 1000 (lower is better), for every data set,
and for the cars of models with at most 20 past sales. Run by::

    pytest -m benchmark -n 0 -s tests/benchmarks/bench_accuracy.py
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import data_demo
from data_demo.simulated import simulate_market
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.store.market import Market
from tests.benchmarks.peers import LEVELS, PEERS, Floats, matrix
from tests.outside.open_data import OpenData, blp_cars, king_county, seattle_sales

pytestmark = pytest.mark.benchmark
THIN = 20
OURS = "price model"


def demo_market(folder: Path) -> OpenData:
    market = Market.open(folder / "demo.duckdb")
    market.load(data_demo.files())
    return OpenData("demo market", market.sales().sort("event_date"), FeatureSpec.cars())


def simulated(folder: Path) -> OpenData:
    frame, _ = simulate_market(20_000, 800, 1)
    return OpenData("simulated 20,000", frame.sort("event_date"), FeatureSpec.cars())


SETS: dict[str, Callable[[Path], OpenData]] = {
    "king_county": lambda _: king_county(),
    "seattle_sales": lambda _: seattle_sales(),
    "blp_cars": lambda _: blp_cars(),
    "demo": demo_market,
    "simulated": simulated,
}


def pinball(y: Floats, quantiles: Floats) -> Floats:
    """Mean pinball loss of every row over ``LEVELS``, times 1000."""
    levels, error = np.array(LEVELS), y[:, None] - quantiles
    return 1000.0 * np.mean(np.maximum(levels * error, (levels - 1.0) * error), axis=1)


def scores(data: OpenData) -> list[dict[str, object]]:
    """One row a model: its loss, that on thin models, and the coverage of its 80 % range."""
    train, test = data.forward_split()
    if data.spec.outcome in data.frame.columns:
        test = test.filter(pl.col("outcome") == "sold")
    sold = train.filter(pl.col("outcome") == "sold") if data.spec.outcome in train.columns else train
    y, target = (side[data.spec.price].cast(pl.Float64).log().to_numpy() for side in (sold, test))
    past = test.join(sold.group_by(data.spec.groups[:2]).len(), on=data.spec.groups[:2], how="left")["len"]
    thin = past.fill_null(0).to_numpy() <= THIN
    X, Z, codes = matrix(data.spec, sold, test)
    found = {name: peer(X, y, Z, codes) for name, peer in PEERS.items()}
    ours = PriceModel(data.spec).fit(train).distribution(test).ppf(LEVELS)
    rows = []
    for name, quantiles in {OURS: np.log(ours), **found}.items():
        if quantiles is not None:
            loss = pinball(target, quantiles)
            inside = (target >= quantiles[:, 1]) & (target <= quantiles[:, 5])
            few = float(loss[thin].mean()) if thin.sum() >= 20 else None
            rows.append(
                {"set": data.name, "model": name, "loss": loss.mean(), "thin": few, "covered": inside.mean()}
            )
    return rows


@pytest.mark.parametrize("name", list(SETS))
def test_accuracy(name: str, tmp_path: Path) -> None:
    table = pl.DataFrame(scores(SETS[name](tmp_path)), schema_overrides={"thin": pl.Float64})
    best = table.filter(pl.col("model") != OURS)["loss"].min()
    with pl.Config(
        tbl_rows=-1, float_precision=3, tbl_hide_dataframe_shape=True, tbl_hide_column_data_types=True
    ):
        print(f"\n{table}")
    assert table.filter(pl.col("model") == OURS)["loss"].item() < best
