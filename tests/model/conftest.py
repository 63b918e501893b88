"""One small simulated market, fitted once for all tests of this folder."""

import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel


@pytest.fixture(scope="package")
def sales() -> pl.DataFrame:
    """3,000 rows of 40 models, in order of date."""
    return simulate_market(3000, 40, 7)[0].sort("event_date")


@pytest.fixture(scope="package")
def model(sales: pl.DataFrame) -> PriceModel:
    """The price model of the earlier 2,400 rows."""
    return PriceModel(FeatureSpec.cars()).fit(sales[:2400])


@pytest.fixture(scope="package")
def cars(sales: pl.DataFrame) -> pl.DataFrame:
    """The later sold cars, which the model has not seen."""
    return sales[2400:].filter(pl.col("outcome") == "sold")
