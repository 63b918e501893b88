"""A valuation's facts against a price model whose answers are known by hand."""

import json
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.decisions.valuation import Valuation, value_car
from pricing.errors import CarError, DecisionError, MoneyError
from pricing.model.distribution import PriceDistribution
from pricing.vocabulary import CONDITION_BANDS
from tests.cars import car_of
from tests.known_market import BAND_FACTORS, BASE, LAST, OPTION_FACTOR, SPREAD, KnownMarket, KnownModel

CAR = {
    "make": "Corvane",
    "model": "Six",
    "year": 1965,
    "condition_band": "average",
    "options": ["wire_wheels"],
}


def value(asking: Decimal | None = Decimal(11000), as_of: date | None = None, **said: Any) -> Valuation:
    return value_car(
        KnownMarket(), KnownModel(), car_of(KnownMarket(), CAR | said), asking=asking, as_of=as_of
    )


def test_range_is_the_models_with_money_to_the_cent() -> None:
    valuation = value()
    mid = BASE * OPTION_FACTOR
    reach = SPREAD * stats.norm.ppf(0.9)
    expected = [Decimal(price).quantize(Decimal("0.01")) for price in mid * np.exp([-reach, 0.0, reach])]
    assert [valuation.low, valuation.mid, valuation.high] == expected
    assert (valuation.currency, valuation.basis, valuation.as_of) == ("EUR", "all-in", LAST)


def test_standing_is_the_share_of_like_cars_below_the_asking_price() -> None:
    expected = stats.norm.cdf(np.log(11000 / (BASE * OPTION_FACTOR)) / SPREAD)
    assert value().standing == pytest.approx(expected, abs=1e-4)  # the law is linear between its levels
    assert value(asking=None).standing is None


def test_brackets_hold_the_share_of_like_cars_that_the_law_says() -> None:
    brackets = value().distribution
    law = stats.lognorm(SPREAD, scale=BASE * OPTION_FACTOR)
    expected = law.cdf(brackets["to_price"]) - law.cdf(brackets["from_price"])
    assert np.abs(brackets["share"].to_numpy() - expected).max() < 0.004  # linear between levels 2.5 % apart
    assert 0.97 < brackets["share"].sum() <= 1.0
    widths = (brackets["to_price"] - brackets["from_price"]).unique()
    assert widths.len() == 1
    assert brackets.height <= 20


def test_factors_multiply_to_the_mid_price() -> None:
    valuation = value()
    assert valuation.mid is not None
    assert valuation.terms["factor"].product() == pytest.approx(float(valuation.mid))


def test_absent_options_are_one_term_with_their_product() -> None:
    class Lacking(KnownModel):
        def contributions(self, cars: pl.DataFrame) -> pl.DataFrame:
            first = {
                "row": 0,
                "term": "average sale",
                "value": None,
                "factor": 9000.0,
                "low": 1.0,
                "high": 2.0,
            }
            lacks = [
                first | {"term": option, "value": "no", "factor": factor}
                for option, factor in (("overdrive", 0.9), ("tow_bar", 1.05))
            ]
            return pl.DataFrame([first, *lacks, first | {"term": "year", "value": "1965", "factor": 1.5}])

    terms = value_car(KnownMarket(), Lacking(), car_of(KnownMarket(), CAR)).terms
    assert terms["term"].to_list() == ["average sale", "options absent", "year"]
    assert terms["value"].to_list() == [None, "2", "1965"]
    assert terms["factor"].to_list() == pytest.approx([9000.0, 0.9 * 1.05, 1.5])
    assert terms["low"].to_list() == [1.0, None, 1.0]


def test_bands_are_the_same_car_in_every_band() -> None:
    bands = value().bands
    assert bands["condition_band"].to_list() == list(CONDITION_BANDS)
    expected = [BASE * OPTION_FACTOR * BAND_FACTORS[band] for band in CONDITION_BANDS]
    assert bands["mid"].to_list() == pytest.approx(expected)


def test_bands_leave_out_the_cars_own_score() -> None:
    seen = []

    class Watched(KnownModel):
        def distribution(self, cars: pl.DataFrame, as_of: date | None = None) -> PriceDistribution:
            seen.append(cars)
            return super().distribution(cars)

    value_car(KnownMarket(), Watched(), car_of(KnownMarket(), CAR | {"condition_score": 60.0}))
    assert seen[0]["condition_score"].to_list() == [60.0, None, None, None, None]
    assert seen[0]["event_date"].unique().to_list() == [LAST]


def test_sales_are_the_models_sold_cars_nearest_first() -> None:
    valuation = value(variant="Mk II", chassis_number="C2")
    sales = valuation.sales
    assert sales["model"].unique().to_list() == ["Six"]
    assert sales.height == 20
    assert sales["chassis_number"][0] == "C2"
    rest = sales[1:]
    variants = rest["variant"].to_list()
    assert variants == sorted(variants, key=lambda name: name != "Mk II")
    same = rest.filter(pl.col("variant") == "Mk II")
    steps = [
        4 if band is None else abs(CONDITION_BANDS.index(band) - CONDITION_BANDS.index("average"))
        for band in same["condition_band"]
    ]
    assert steps == sorted(steps)
    assert (valuation.unsold, valuation.asked) == (2, 1)


def test_a_refused_range_keeps_its_reason_and_the_sales() -> None:
    valuation = value(year=1901)
    assert valuation.reason == "nothing like it is on record"
    assert [valuation.low, valuation.mid, valuation.high, valuation.standing] == [None] * 4
    assert valuation.terms.is_empty() and valuation.distribution.is_empty()
    assert valuation.sales.height == 20


def test_names_match_whatever_their_capitals_and_the_commonest_spelling_wins() -> None:
    class Shouting(KnownMarket):
        def sales(self, as_of: date | None = None) -> pl.DataFrame:
            frame = super().sales(as_of)
            return pl.concat([frame, frame[:1].with_columns(model=pl.lit("SIX"))])

    assert (
        value_car(Shouting(), KnownModel(), car_of(Shouting(), CAR | {"model": "six"})).car["model"] == "Six"
    )
    assert (
        value_car(Shouting(), KnownModel(), car_of(Shouting(), CAR | {"model": "SIX"})).car["model"] == "SIX"
    )


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"make": "Corvaine"}, "no record of the make 'Corvaine'; did you mean Corvane"),
        ({"model": "Siix"}, "no record of the model 'Siix' of Corvane; did you mean Six"),
        (
            {"variant": "Mk III"},
            "no record of the variant 'Mk III' of Corvane Six; did you mean Mk II",
        ),
        ({"year": None}, "missing: year"),
        ({"year": 1700}, "year out of range: got 1700"),
        ({"year": "MCMLX"}, "year unreadable: got 'MCMLX'"),
        ({"condition_band": "good"}, "condition band unknown: got 'good', expected one of: project, solid"),
        ({"condition_score": 101.0}, "condition score out of range: got 101.0"),
        ({"condition_score": 10.0}, "condition score outside band: got 10.0"),
        ({"odometer_km": -1.0}, "odometer negative: got -1.0"),
        ({"options": ["sidecar"]}, r"option unknown: got \['sidecar'\], expected one of: air_conditioning"),
        ({"country": "UK"}, "country unknown: got 'UK'"),
        ({"colour": "red"}, "a car has no colour; it has: make, model"),
    ],
)
def test_a_car_that_cannot_be_is_refused_in_one_sentence(said: dict[str, Any], words: str) -> None:
    with pytest.raises(CarError, match=words) as caught:
        value(**said)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("asking", [Decimal(0), Decimal(-5), Decimal(3), Decimal(10) ** 12])
def test_an_asking_price_that_cannot_be_is_refused(asking: Decimal) -> None:
    with pytest.raises(MoneyError, match="asking price absurd: got"):
        value(asking=asking)


def test_a_date_before_what_the_model_has_seen_is_refused() -> None:
    with pytest.raises(DecisionError, match="has seen sales up to 2026-06-30, after 2026-06-29"):
        value(as_of=LAST - timedelta(days=1))


def test_facts_go_into_json_with_amounts_as_decimals_and_dates_as_iso() -> None:
    facts = json.loads(json.dumps(value().to_dict()))
    assert facts["mid"] == "8800.00"
    assert facts["as_of"] == "2026-06-30"
    assert facts["sales"][0]["price"].endswith(".00")
    assert set(facts) == set(vars(value()))


@given(
    asking=st.decimals(10, 200_000_000, places=2),
    year=st.integers(1885, 2026).filter(lambda year: year != 1901),
    band=st.sampled_from([*CONDITION_BANDS, None]),
)
def test_any_car_has_ordered_prices_and_a_standing_that_agrees(
    asking: Decimal, year: int, band: str | None
) -> None:
    valuation = value(asking=asking, year=year, condition_band=band)
    assert valuation.low is not None and valuation.mid is not None and valuation.high is not None
    assert valuation.low < valuation.mid < valuation.high
    assert valuation.standing is not None
    if asking > valuation.high + 1:
        assert valuation.standing > 0.9
    if asking < valuation.low - 1:
        assert valuation.standing < 0.1
