"""The public door: ranges, quantiles, standing and explanation agree with each other and refuse with a
reason."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from data_demo.simulated import simulate_market
from pricing.errors import ModelError, TableError
from pricing.model.features.spec import FeatureSpec
from pricing.model.prediction import DEPTHS
from pricing.model.price_model import MINIMUM_SALES, PriceModel
from pricing.vocabulary import CONDITION_BANDS


def test_ranges_are_ordered_and_agree_with_quantiles(model: PriceModel, cars: pl.DataFrame) -> None:
    ranges = model.price_range(cars, coverage=0.8)
    quantiles = model.distribution(cars).ppf([0.1, 0.5, 0.9])
    assert ranges["reason"].is_null().all()
    assert (ranges["low"] < ranges["mid"]).all() and (ranges["mid"] < ranges["high"]).all()
    np.testing.assert_allclose(ranges.select("low", "mid", "high"), quantiles, rtol=1e-12)


def test_wider_coverage_is_a_wider_range(model: PriceModel, cars: pl.DataFrame) -> None:
    narrow, wide = model.price_range(cars, coverage=0.5), model.price_range(cars, coverage=0.9)
    assert (wide["low"] <= narrow["low"]).all() and (wide["high"] >= narrow["high"]).all()


def test_standing_inverts_the_quantiles(model: PriceModel, cars: pl.DataFrame) -> None:
    for level in (0.1, 0.25, 0.5, 0.75, 0.9):
        told = model.distribution(cars)
        assert np.abs(told.standing(told.ppf(level)).to_numpy() - level).max() < 1e-9


def test_a_dearer_asking_price_never_stands_lower(model: PriceModel, cars: pl.DataFrame) -> None:
    car = cars[:1]
    prices = np.geomspace(10.0, 1e7, 200)
    standing = model.distribution(pl.concat([car] * 200)).standing(prices.tolist()).to_numpy()
    assert np.all(np.diff(standing) >= 0.0)
    assert 0.0 <= standing[0] < 0.01 and 0.99 < standing[-1] <= 1.0


def test_factors_multiply_to_the_mid(model: PriceModel, cars: pl.DataFrame) -> None:
    told = model.distribution(cars).terms()
    product = told.group_by("row", maintain_order=True).agg(pl.col("factor").product())["factor"]
    np.testing.assert_allclose(product, model.price_range(cars)["mid"], rtol=1e-12)
    assert (told["low"] <= told["factor"]).all() and (told["factor"] <= told["high"]).all()


def test_a_better_band_never_costs_less(model: PriceModel, cars: pl.DataFrame) -> None:
    unscored = cars.drop("condition_score")
    mids = [
        model.price_range(unscored.with_columns(condition_band=pl.lit(band)))["mid"].to_numpy()
        for band in CONDITION_BANDS
    ]
    assert np.diff(np.column_stack(mids), axis=1).min() >= 0.0


def test_a_better_score_never_costs_less(model: PriceModel, cars: pl.DataFrame) -> None:
    car = pl.concat([cars[:1]] * 101).with_columns(
        condition_score=pl.int_range(0, 101, eager=True).cast(pl.Float64),
        condition_band=pl.lit(None, pl.String),
    )
    assert np.diff(model.price_range(car)["mid"].to_numpy()).min() >= 0.0


def test_the_less_is_on_record_the_wider_the_range(model: PriceModel, sales: pl.DataFrame) -> None:
    counts = sales[:2400].filter(pl.col("outcome") == "sold").group_by("make", "model").len().sort("len")
    common = sales.join(counts[-1:].drop("len"), on=["make", "model"], how="semi")[:1]
    unknown = [
        common,
        common.with_columns(variant=pl.lit("never seen")),
        common.with_columns(model=pl.lit("never seen"), variant=pl.lit("never seen")),
        common.with_columns(pl.lit("never seen").alias(name) for name in ("make", "model", "variant")),
    ]
    low, high = model.distribution(pl.concat(unknown)).interval(0.8)
    width = high / low
    assert model.price_range(pl.concat(unknown))["evidence"].to_list()[2:] == [
        "model unknown",
        "make unknown",
    ]
    assert np.all(np.diff(width) > 0)


def test_the_further_ahead_the_wider_the_range(model: PriceModel, cars: pl.DataFrame) -> None:
    last = date.fromisoformat(model.facts["last_date"])
    car = pl.concat([cars[:1]] * 4).with_columns(
        event_date=pl.Series([last + timedelta(days=days) for days in (0, 90, 365, 1500)])
    )
    ranges = model.price_range(car)
    assert np.all(np.diff((ranges["high"] / ranges["low"]).to_numpy()) > 0)


def test_columns_may_be_left_out(model: PriceModel) -> None:
    found = model.price_range(pl.DataFrame({"make": ["make 1"]}))
    assert found.columns == ["low", "mid", "high", "evidence", "reason", "remark"]
    assert found["evidence"].item() in DEPTHS


def test_too_few_sales_give_a_reason_instead_of_numbers(sales: pl.DataFrame) -> None:
    few = sales.filter(pl.col("outcome") == "sold")[: MINIMUM_SALES - 1]
    found = PriceModel(FeatureSpec.cars()).fit(few).price_range(few[:3])
    assert found["low"].null_count() == 3 and found["mid"].null_count() == 3
    assert found["reason"].str.contains(f"only {MINIMUM_SALES - 1} sales").all()


def test_coverage_that_cannot_be_promised_is_refused(sales: pl.DataFrame) -> None:
    some = sales.filter(pl.col("outcome") == "sold")[:72]
    model = PriceModel(FeatureSpec.cars()).fit(some)
    assert model.price_range(some[:1], coverage=0.8)["reason"].item() is None
    assert "cannot be promised" in model.price_range(some[:1], coverage=0.95)["reason"].item()


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"year": 1700}, "year 1700 is far outside"),
        ({"event_date": date(1990, 1, 1)}, "before the first sale"),
    ],
)
def test_far_outside_the_record_is_refused(
    model: PriceModel, cars: pl.DataFrame, values: dict[str, object], sentence: str
) -> None:
    car = cars[:1].with_columns(pl.lit(value).alias(name) for name, value in values.items())
    found = model.price_range(car)
    assert found["mid"].item() is None
    assert sentence in found["reason"].item()


def test_an_unknown_make_among_few_is_refused() -> None:
    frame, _ = simulate_market(600, 4, 3, makes=2)
    model = PriceModel(FeatureSpec.cars()).fit(frame)
    found = model.price_range(pl.DataFrame({"make": ["never seen"]}))
    assert "too few to judge it by" in found["reason"].item()


def test_asks_before_the_fit_are_told_so() -> None:
    with pytest.raises(ModelError, match="call fit before"):
        PriceModel(FeatureSpec.cars()).price_range(pl.DataFrame({"make": ["Ash"]}))


@pytest.mark.parametrize("price", [0.0, -5.0, float("inf"), float("nan")])
def test_a_price_that_is_none_is_refused(price: float) -> None:
    frame = pl.DataFrame({"price": [100.0, price, 120.0]})
    with pytest.raises(ModelError, match="1 of 3 prices"):
        PriceModel(FeatureSpec()).fit(frame)


def test_a_frame_without_what_is_needed_is_refused() -> None:
    with pytest.raises(TableError, match="lacks the column price, make"):
        PriceModel(FeatureSpec(groups=("make",))).fit(pl.DataFrame({"amount": [1.0]}))
    with pytest.raises(ModelError, match="nothing to learn from"):
        PriceModel(FeatureSpec()).fit(pl.DataFrame({"price": [None, None]}, schema={"price": pl.Float64}))


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 2.0])
def test_a_probability_is_one(model: PriceModel, cars: pl.DataFrame, level: float) -> None:
    with pytest.raises(ModelError, match="strictly between 0 and 1"):
        model.distribution(cars).ppf(level)
    with pytest.raises(ModelError, match="strictly between 0 and 1"):
        model.price_range(cars, coverage=level)


def test_asking_prices_must_be_prices(model: PriceModel, cars: pl.DataFrame) -> None:
    with pytest.raises(ModelError, match="as many positive asking prices"):
        model.distribution(cars[:2]).standing([1000.0])
    with pytest.raises(ModelError, match="as many positive asking prices"):
        model.distribution(cars[:1]).standing([0.0])


def test_the_same_sales_give_the_same_fit(sales: pl.DataFrame, cars: pl.DataFrame) -> None:
    some = sales[:800]
    one, two = (PriceModel(FeatureSpec.cars()).fit(some).price_range(cars) for _ in range(2))
    assert one.equals(two)


@pytest.mark.soak
def test_a_fit_that_starts_from_another_keeps_its_calibration_while_few_rows_are_new(
    sales: pl.DataFrame, cars: pl.DataFrame
) -> None:
    spec = FeatureSpec.cars()
    ordered = sales.sort("event_date")
    before = PriceModel(spec).fit(ordered[:-5])
    warm, full = PriceModel(spec).fit(ordered, start=before), PriceModel(spec).fit(ordered)
    assert warm.calibration is before.calibration and warm.facts["rows"] == full.facts["rows"]
    assert np.abs(warm.log_mid(cars) - full.log_mid(cars)).max() < 0.03
    much_more = PriceModel(spec).fit(ordered, start=PriceModel(spec).fit(ordered[: -len(ordered) // 10]))
    assert much_more.facts["calibrated_rows"] == full.facts["rows"]
