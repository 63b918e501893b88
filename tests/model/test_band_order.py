"""A better band and a higher score are never cheaper: at low, mid and high, in any market, crashes too."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.vocabulary import CONDITION_BANDS
from tests.simulated_markets import FALL, RISE, SCATTER, TOP_SCATTER, Setting, draw_market, moved, walking

PATHS = [moved(FALL, 3), moved(FALL, 12), moved(RISE, 6), moved(FALL, 12, 12), walking(0.2)]


@settings(max_examples=6)
@given(
    st.sampled_from(PATHS),
    st.sampled_from([SCATTER, TOP_SCATTER, (0.05, 0.6, 0.1, 0.9)]),
    st.integers(1, 2**31),
    st.sampled_from([0.0, 0.5]),
)
def test_better_is_never_cheaper(path: object, scatter: tuple[float, ...], seed: int, scored: float) -> None:
    setting = Setting(path, sales=150, models=5, makes=2, scatter=scatter, scored=scored)  # type: ignore[arg-type]
    market = draw_market(setting, seed, 6)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales)
    bands = pl.DataFrame(
        {"condition_band": CONDITION_BANDS, "condition_score": pl.Series([None] * 4, dtype=pl.Float64)}
    )
    scores = np.arange(0.0, 101.0, 4.0)
    scored_states = pl.DataFrame(
        {
            "condition_band": [CONDITION_BANDS[min(int(score // 25), 3)] for score in scores],
            "condition_score": scores,
        }
    )
    for states in (bands, scored_states):
        asked = market.asked.drop("condition_band", "condition_score").join(
            states, how="cross", maintain_order="left_right"
        )
        for ahead in (0, 91, 400):
            prices = model.distribution(asked, market.next_day + timedelta(days=ahead))
            levels = prices.ppf([0.01, 0.05, 0.1, 0.5, 0.9, 0.95, 0.99]).reshape(6, len(states), 7)
            assert (np.diff(levels, axis=1) >= -1e-9 * levels[:, 1:]).all()


def test_the_scale_reaches_both_ends() -> None:
    """Scores of 88 and 100, and of 0 and 12, are priced apart, and not as far as between the outermost bands:
    the markets are drawn with 14 and 44 % from the one to the other."""
    market = draw_market(Setting(sales=600, scored=1.0, ungraded=0.0), 3, 20)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales)

    def mid(score: float) -> np.ndarray:
        band = CONDITION_BANDS[min(int(score // 25), 3)]
        cars = market.asked.with_columns(condition_band=pl.lit(band), condition_score=pl.lit(score))
        return np.asarray(model.distribution(cars).mid)

    assert (mid(100.0) > 1.03 * mid(88.0)).all() and np.median(mid(100.0) / mid(88.0)) < 1.3
    assert (mid(12.0) > 1.1 * mid(0.0)).all() and np.median(mid(12.0) / mid(0.0)) < 1.6


def test_bands_inverted_in_the_records_are_said() -> None:
    market = draw_market(Setting(sales=400, scored=0.0), 1, 10)
    turned = pl.col("condition_band").replace(
        dict(zip(CONDITION_BANDS, reversed(CONDITION_BANDS), strict=True))
    )
    model = PriceModel(FeatureSpec.cars()).fit(market.sales.with_columns(turned))
    remarks = model.price_range(market.asked)["remark"]
    assert remarks.str.contains("sold for less than those in the state").all()
    right = PriceModel(FeatureSpec.cars()).fit(market.sales).price_range(market.asked)["remark"]
    assert right.null_count() == len(right)


@pytest.mark.parametrize("channel", ["dealer", "private"])
def test_a_channel_never_on_record_is_wider_and_said(channel: str) -> None:
    market = draw_market(Setting(sales=400), 2, 10)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales.with_columns(channel=pl.lit("auction")))
    auction, other = (
        model.price_range(market.asked.with_columns(channel=pl.lit(name))) for name in ("auction", channel)
    )
    assert (other["high"] / other["low"] > auction["high"] / auction["low"]).all()
    assert other["remark"].str.contains(f"channel '{channel}'").all()
    assert not auction["remark"].fill_null("").str.contains("channel").any()
