"""A small market file with a fit, made through the library's own doors, for tests of commands and pages."""

from pathlib import Path
from typing import Any

import polars as pl

from data_demo.simulated import simulate_market
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.records.contract import COLUMNS
from pricing.store.market import Market


def write_sales(path: Path, rows: int = 600) -> None:
    """Write a parquet file of simulated records of 12 models."""
    frame, _ = simulate_market(rows, 12, seed=20, makes=9)
    frame.select(name for name in COLUMNS if name != "batch_id").write_parquet(path)


def make_market(path: Path) -> Market:
    """A market file loaded with ``write_sales`` and fitted."""
    market = Market.open(path)
    write_sales(path.with_suffix(".parquet"))
    market.load([path.with_suffix(".parquet")])
    save(PriceModel(FeatureSpec.cars()).fit(market.sales()), market)
    return market


def common_car(market: Market) -> dict[str, Any]:
    """A graded car of the model with the most sales, as one of them was sold."""
    sold = market.sales().filter(pl.col("outcome") == "sold", pl.col("condition_band").is_not_null())
    first = sold["make", "model"].group_by("make", "model").len().sort("len", "model", descending=True)
    car = sold.filter(pl.col("make") == first["make"][0], pl.col("model") == first["model"][0]).row(
        0, named=True
    )
    said = ("make", "model", "variant", "year", "condition_band", "odometer_km", "options")
    return {name: car[name] for name in said}
