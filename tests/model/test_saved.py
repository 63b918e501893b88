"""A fit to bytes and back: the same digits, and no fit that was altered."""

import io
import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pricing.errors import MarketError, ModelError
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import from_bytes, load, save, to_bytes
from pricing.store.market import Market


def test_the_same_numbers_to_the_last_digit(model: PriceModel, cars: pl.DataFrame) -> None:
    again = from_bytes(to_bytes(model))
    assert_frame_equal(again.price_range(cars), model.price_range(cars), check_exact=True)
    assert_frame_equal(again.distribution(cars).terms(), model.distribution(cars).terms(), check_exact=True)
    assert (
        again.distribution(cars)
        .standing(cars["price"])
        .equals(model.distribution(cars).standing(cars["price"]))
    )
    assert again.facts == model.facts
    assert to_bytes(again) == to_bytes(model)


def test_a_market_keeps_its_fits(model: PriceModel, cars: pl.DataFrame, tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    with pytest.raises(MarketError):
        load(market)
    name = save(model, market)
    assert_frame_equal(load(market, name).price_range(cars), model.price_range(cars), check_exact=True)
    assert_frame_equal(load(market).price_range(cars), model.price_range(cars), check_exact=True)
    assert len(market.fits()) == 1


def test_an_altered_fit_is_refused(model: PriceModel) -> None:
    with np.load(io.BytesIO(to_bytes(model))) as archive:
        arrays = {name: archive[name] for name in archive.files}
    arrays["mean.market"] = arrays["mean.market"] + 0.1
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    with pytest.raises(ModelError, match="altered: 1 of its arrays"):
        from_bytes(buffer.getvalue())


def test_an_altered_header_is_refused(model: PriceModel) -> None:
    with np.load(io.BytesIO(to_bytes(model))) as archive:
        arrays = {name: archive[name] for name in archive.files}
    header = json.loads(arrays["header"].tobytes())
    header["degrees"] = 99.0
    arrays["header"] = np.frombuffer(json.dumps(header).encode(), dtype=np.uint8)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    with pytest.raises(ModelError, match="altered"):
        from_bytes(buffer.getvalue())


@pytest.mark.parametrize("payload", [b"", b"not a fit", b"PK\x03\x04 cut short"])
def test_what_is_not_a_fit_is_refused(payload: bytes) -> None:
    with pytest.raises(ModelError, match="cannot be read"):
        from_bytes(payload)


def test_a_fit_cut_short_is_refused(model: PriceModel) -> None:
    payload = to_bytes(model)
    with pytest.raises(ModelError, match="cannot be read"):
        from_bytes(payload[: len(payload) // 2])


def test_an_unfitted_model_is_not_saved() -> None:
    with pytest.raises(ModelError, match="not fitted"):
        to_bytes(PriceModel(FeatureSpec.cars()))
