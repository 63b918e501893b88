"""Simulated markets keep the contract and are the draws of their truth."""

from datetime import date

import numpy as np
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.arrays import Floats
from pricing.records.contract import COLUMNS, check

ROWS = 20_000


def floats(column: pl.Series) -> Floats:
    """A column of numbers or yes/no as floats, nulls left out."""
    values: Floats = column.drop_nulls().cast(pl.Float64).to_numpy()
    return values


def standard_error(values: Floats) -> float:
    return float(values.std() / np.sqrt(values.size))


@pytest.fixture(scope="module")
def drawn() -> tuple[pl.DataFrame, pl.DataFrame]:
    frame, truth = simulate_market(ROWS, 300, seed=11)
    return frame, truth.rows.rename({"condition_score": "true_score"})


def test_keeps_the_contract(drawn: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    frame = drawn[0]
    assert frame.columns == [*COLUMNS, "price", "lower_price", "upper_price"]
    result = check(frame, date(2026, 11, 25))
    assert result.rejected.is_empty()
    assert result.accepted.equals(frame.select(COLUMNS))


def test_price_is_the_drawn_price(drawn: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    both = pl.concat(drawn, how="horizontal")
    sold = both.filter(outcome="sold")
    departure = np.log(floats(sold["price"])) - floats(sold["log_price"] + sold["noise"])
    assert np.abs(departure).max() < 1e-3
    assert both.filter(pl.col("outcome").is_in(["unsold", "withdrawn"]))["price"].is_null().all()
    unsold = both.filter(outcome="unsold").with_columns(true=(pl.col("log_price") + pl.col("noise")).exp())
    assert unsold.filter(pl.col("lower_price").cast(pl.Float64) > pl.col("true") + 0.01).is_empty()
    assert unsold.filter(pl.col("upper_price").cast(pl.Float64) < pl.col("true") - 0.01).is_empty()
    assert unsold["upper_price"].null_count() < 0.1 * unsold.height


def test_noise_has_the_spread_of_its_band(drawn: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    for spread, rows in drawn[1].group_by("noise_sd"):
        noise = floats(rows["noise"])
        assert noise.std() == pytest.approx(spread[0], rel=0.1)
        assert abs(noise.mean()) < 4 * standard_error(noise)


def test_sold_only_is_biased_and_all_sold_is_not(drawn: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    lots = floats(pl.concat(drawn, how="horizontal").filter(channel="auction", outcome="sold")["noise"])
    assert lots.mean() > 6 * standard_error(lots)
    frame, truth = simulate_market(ROWS, 300, seed=11, all_sold=True)
    noise = floats(truth.rows["noise"])
    assert frame["outcome"].unique().to_list() == ["sold"]
    assert frame["price"].is_not_null().all()
    assert abs(noise.mean()) < 4 * standard_error(noise)


def test_shares_asked_for(drawn: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    frame = drawn[0]
    graded = frame.drop_nulls("condition_band")
    assert graded.height / ROWS == pytest.approx(0.65, abs=0.02)
    assert graded["condition_score"].count() / graded.height == pytest.approx(0.4, abs=0.02)
    assert 1 - frame["chassis_number"].n_unique() / ROWS == pytest.approx(0.08, abs=0.001)
    counts = floats(frame.group_by("model").len()["len"])
    assert counts.max() > 20 * np.median(counts)  # a long tail
    assert frame["make"].n_unique() == 30


def test_same_seed_same_market_and_chunks_join(monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = simulate_market(3_000, 50, seed=2)[0], simulate_market(3_000, 50, seed=2)[0]
    assert first.equals(second)
    assert not first.equals(simulate_market(3_000, 50, seed=3)[0])
    monkeypatch.setattr("data_demo.simulated.CHUNK", 1_000)
    large, truth = simulate_market(2_500, 50, seed=2)
    assert large.height == truth.rows.height == 2_500
    assert large["record_id"].is_unique().all()


def test_interactions_change_only_the_cars_they_concern() -> None:
    drawn = [simulate_market(4_000, 60, seed=4, interactions=strength)[1].rows for strength in (0.0, 1.0)]
    change = floats(drawn[1]["log_price"] - drawn[0]["log_price"])
    score = floats(drawn[0]["condition_score"])
    assert change[(score >= 50) & (score < 75)].min() > -1e-9
    assert change[score > 75].min() < -0.01
    assert 0.01 < change.max() < 0.35
