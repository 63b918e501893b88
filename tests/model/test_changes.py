"""What would change the price agrees with pricing the changed car."""

import polars as pl
import pytest

from pricing.errors import ModelError
from pricing.model.changes import changes
from pricing.model.price_model import PriceModel
from pricing.model.spec import FeatureSpec
from pricing.vocabulary import CONDITION_BANDS


@pytest.fixture(scope="module")
def car(cars: pl.DataFrame) -> pl.DataFrame:
    return cars.filter(pl.col("odometer_km") > 20_000)[:1].with_columns(
        condition_band=pl.lit("average"),
        condition_score=pl.lit(None, pl.Float64),
        options=pl.Series([["overdrive"]]),
    )


def test_each_change_is_the_price_of_the_changed_car(model: PriceModel, car: pl.DataFrame) -> None:
    found = changes(model, car)
    by_hand = {
        "condition_band": car.with_columns(condition_band=pl.lit("top condition")),
        "overdrive": car.with_columns(options=pl.Series([[]], dtype=pl.List(pl.String))),
        "wire_wheels": car.with_columns(options=pl.Series([["overdrive", "wire_wheels"]])),
        "odometer_km": car.with_columns(pl.col("odometer_km") - 10_000),
    }
    before = model.price_range(car)["mid"].item()
    for term, changed in by_hand.items():
        line = found.filter(pl.col("term") == term)
        after = model.price_range(changed)["mid"].item()
        assert line["mid"].item() == pytest.approx(after)
        assert line["factor"].item() == pytest.approx(after / before)
        assert line["low"].item() <= line["factor"].item() <= line["high"].item()
    assert found.filter(pl.col("term") == "overdrive")["change"].item() == "without overdrive"
    assert found.filter(pl.col("term") == "wire_wheels")["change"].item() == "with wire_wheels"


def test_what_does_not_apply_is_left_out(model: PriceModel, car: pl.DataFrame) -> None:
    best = car.with_columns(condition_band=pl.lit(CONDITION_BANDS[-1]), odometer_km=pl.lit(500.0))
    unknown = car.with_columns(condition_band=pl.lit(None, pl.String), odometer_km=pl.lit(None, pl.Float64))
    for one in (best, unknown):
        assert not set(changes(model, one)["term"]) & {"condition_band", "odometer_km"}


def test_a_better_band_is_never_a_loss(model: PriceModel, cars: pl.DataFrame) -> None:
    found = changes(model, cars.drop("condition_score")).filter(pl.col("term") == "condition_band")
    assert len(found) > 50
    assert found["factor"].to_numpy().min() >= 1.0


def test_an_unfitted_model_says_so(car: pl.DataFrame) -> None:
    with pytest.raises(ModelError, match="call fit before"):
        changes(PriceModel(FeatureSpec.cars()), car)
