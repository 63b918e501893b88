"""Every outcome is evidence of its own kind: unsold lots take the bias out, asking prices carry their gap."""

import numpy as np
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel


def log_mids(frame: pl.DataFrame, cars: pl.DataFrame) -> np.ndarray:
    """Uncalibrated log mid prices: calibration is on sold cars alone."""
    model = PriceModel(FeatureSpec.cars()).fit(frame)
    return model.log_mid(cars)


@pytest.mark.soak
def test_unsold_lots_take_the_bias_out() -> None:
    """Sold lots alone overstate prices (common practice, no source); the bounds of the unsold mend it."""
    bias: dict[str, list[float]] = {"left out": [], "taken in": []}
    for seed in (1, 2, 4):
        frame, truth = simulate_market(5000, 30, seed, ungraded=0.0)
        lots = (frame["channel"] == "auction") & frame["outcome"].is_in(["sold", "unsold"])
        true = truth.rows["log_price"].filter(lots).to_numpy()
        for name, rows in {
            "left out": frame.filter(pl.col("outcome") != "unsold"),
            "taken in": frame,
        }.items():
            bias[name].append(float(np.mean(log_mids(rows, frame.filter(lots)) - true)))
    assert np.mean(bias["left out"]) > 0.035
    assert abs(np.mean(bias["taken in"])) < 0.3 * np.mean(bias["left out"])


def test_the_asking_gap_is_found() -> None:
    """By channel and tier, within what its own standard error allows."""
    frame, truth = simulate_market(8000, 30, 5, ungraded=0.0)
    model = PriceModel(FeatureSpec.cars()).fit(frame)
    asking = frame.filter(pl.col("outcome") == "asking")
    true = truth.rows["log_price"].filter(frame["outcome"] == "asking").to_numpy()
    found = model.asking_gaps()
    for channel in ("dealer", "private"):
        own = (asking["channel"] == channel).to_numpy()
        gap = asking["price"].cast(pl.Float64).log().to_numpy()[own] - true[own]
        told = found.filter(pl.col("asking_by") == channel)["factor"].log().mean()
        assert told == pytest.approx(float(np.median(gap)), abs=0.03)


def test_withdrawn_offers_tell_nothing() -> None:
    frame, _ = simulate_market(1500, 15, 6)
    kept = frame.filter(pl.col("outcome") != "withdrawn")
    cars = kept[:200]
    np.testing.assert_array_equal(log_mids(frame, cars), log_mids(kept, cars))
