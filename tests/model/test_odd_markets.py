"""Small and odd markets: a sound answer, or a reason in one sentence."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from pricing.errors import ModelError
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import MINIMUM_SALES, PriceModel
from tests.simulated_markets import Setting, draw_market

SPEC = FeatureSpec.cars()


def sales(count: int, seed: int = 1) -> pl.DataFrame:
    return draw_market(Setting(sales=count, models=5, makes=2), seed, 3).sales


def test_twelve_rows_are_refused_with_the_true_minimum() -> None:
    frame = sales(12)
    found = PriceModel(SPEC).fit(frame).price_range(frame[:3])
    assert found["mid"].null_count() == 3
    assert found["reason"].str.contains(f"only 12 sales; a range needs at least {MINIMUM_SALES}").all()


def test_the_minimum_is_true() -> None:
    """Just as many sales as are said to be enough are enough for a range at 80 %."""
    frame = sales(MINIMUM_SALES)
    found = PriceModel(SPEC).fit(frame).price_range(frame[-3:])
    assert found["reason"].null_count() == 3 and (found["low"] < found["high"]).all()


def test_one_price_only_is_a_step() -> None:
    frame = sales(120).with_columns(price=pl.lit(5000.0))
    model = PriceModel(SPEC).fit(frame)
    cars = frame.select(SPEC.features)[:5]
    prices = model.distribution(cars)
    np.testing.assert_allclose(prices.mid, 5000.0, rtol=1e-9)
    assert np.all(prices.cdf(np.full(5, 4999.99)) == 0.0) and np.all(prices.cdf(np.full(5, 5000.01)) == 1.0)


@pytest.mark.parametrize(
    "only",
    [
        pl.lit("average").alias("condition_band"),
        pl.lit(None, pl.String).alias("condition_band"),
        pl.lit("one make").alias("make"),
        pl.lit(date(2025, 1, 1)).alias("event_date"),
        pl.lit(None, pl.Float64).alias("odometer_km"),
    ],
)
def test_markets_that_are_all_alike_in_something_are_priced(only: pl.Expr) -> None:
    frame = sales(120).with_columns(only, pl.lit(None, pl.Float64).alias("condition_score"))
    model = PriceModel(SPEC).fit(frame)
    found = model.price_range(frame[:5])
    given = found.drop_nulls("mid")
    assert len(given) and (given["low"] < given["mid"]).all() and (given["mid"] < given["high"]).all()
    other = model.price_range(frame[:1].with_columns(condition_band=pl.lit("top condition")))
    assert other["reason"].item() is not None or other["low"].item() < other["high"].item()


def test_a_state_never_on_record_is_wider_and_said() -> None:
    frame = sales(200).with_columns(
        condition_band=pl.lit("average"), condition_score=pl.lit(None, pl.Float64)
    )
    model = PriceModel(SPEC).fit(frame)
    average, top = (
        model.price_range(frame[:5].with_columns(condition_band=pl.lit(band)))
        for band in ("average", "top condition")
    )
    assert not average["remark"].fill_null("").str.contains("no offer on record").any()
    assert top["remark"].str.contains("no offer on record is of a car in the state 'top condition'").all()
    wider = (top["high"] / top["low"]) > (average["high"] / average["low"])
    assert (wider | top["reason"].is_not_null()).all()


@pytest.mark.parametrize("scale", [1e-290, 1e-3, 1e12, 1e290])
def test_prices_of_any_size_are_priced_alike(scale: float) -> None:
    """In another unit everything is the same: money has no scale of its own."""
    frame = sales(100)
    plain, scaled = (
        PriceModel(SPEC)
        .fit(frame.with_columns(pl.col("price").cast(pl.Float64) * factor))
        .price_range(frame[:3])
        for factor in (1.0, scale)
    )
    for end in ("low", "mid", "high"):
        np.testing.assert_allclose(scaled[end] / scale, plain[end], rtol=1e-6)


def test_a_market_that_ended_long_ago_is_wide() -> None:
    frame = sales(120)
    model = PriceModel(SPEC).fit(frame)
    last = date.fromisoformat(model.facts["last_date"])
    now, later = (model.price_range(frame[:1], as_of=last + timedelta(days=days)) for days in (0, 3000))
    now, later = (
        model.price_range(frame[:1].with_columns(event_date=pl.lit(last + timedelta(days=days))))
        for days in (0, 3000)
    )
    assert (later["high"] / later["low"]).item() > (now["high"] / now["low"]).item()


def test_nothing_but_asking_prices_is_refused_in_a_sentence() -> None:
    frame = sales(60).with_columns(outcome=pl.lit("asking"))
    with pytest.raises(ModelError, match="none of the 60 rows is a sale"):
        PriceModel(SPEC).fit(frame)


def test_bids_alone_are_as_if_the_lot_had_been_left_out() -> None:
    market = draw_market(Setting(sales=300, models=6, makes=2, unsold=0.4, bids=True), 4, 5)
    with_bids = PriceModel(SPEC).fit(market.sales)
    without = PriceModel(SPEC).fit(market.sales.filter(pl.col("outcome") == "sold"))
    np.testing.assert_allclose(
        with_bids.distribution(market.asked).mid, without.distribution(market.asked).mid, rtol=1e-9
    )


def test_calibration_leaves_the_mid_as_the_regression_has_it() -> None:
    market = draw_market(Setting(sales=300, models=6, makes=2), 5, 20)
    model = PriceModel(SPEC).fit(market.sales)
    np.testing.assert_allclose(
        np.log(model.distribution(market.asked).mid), model.log_mid(market.asked), rtol=0, atol=1e-12
    )
