from datetime import date

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pricing.errors import EvidenceError, PricingError
from pricing.evidence.indices.cluster_robust import Clusters
from pricing.evidence.indices.index import METHODS, NOT_ENOUGH, price_index
from pricing.evidence.indices.periods import LENGTHS, Periods
from tests.evidence.markets import PLAIN, plain_sales


@pytest.mark.parametrize("method", [m for m in METHODS if m != "repeat sales"])
def test_a_known_drift_is_found(method: str) -> None:
    frame = price_index(plain_sales(), spec=PLAIN, method=method, period="year").frame
    expected = 0.05 * np.arange(4)
    assert np.abs(frame["log_index"].to_numpy() - expected).max() < 0.06
    truth = 100 * np.exp(expected)
    inside = (frame["low"].to_numpy() <= truth + 1e-9) & (truth - 1e-9 <= frame["high"].to_numpy())
    assert inside.sum() >= 3


def test_repeat_sales_find_it_too() -> None:
    first = plain_sales(300, seed=3, years=2)
    again = first.with_columns(
        pl.col("event_date").dt.offset_by("2y"), price=pl.col("price") * np.exp(0.1),
        record_id=pl.col("record_id") + "b",
    )  # fmt: skip
    frame = price_index(pl.concat([first, again]), spec=PLAIN, method="repeat sales", period="year").frame
    assert frame["log_index"][2] == pytest.approx(0.1, abs=1e-9)
    assert frame["sales"].sum() == 600


@pytest.mark.parametrize("method", METHODS)
def test_the_interval_is_that_of_students_law_for_the_freedom_that_is_left(method: str) -> None:
    first = plain_sales(40, seed=3, years=1)
    noise = np.random.default_rng(1).normal(0.0, 0.2, len(first))
    again = first.with_columns(
        pl.col("event_date").dt.offset_by("1y"), price=pl.col("price") * pl.Series(np.exp(noise)),
        record_id=pl.col("record_id") + "b",
    )  # fmt: skip
    frame = price_index(pl.concat([first, again]), spec=PLAIN, method=method, period="year").frame
    point = frame.row(1, named=True)
    assert 0 < point["freedom"] < 80
    reach = stats.t.ppf(0.975, point["freedom"]) * point["standard_error"]
    assert np.log(point["high"] / point["index"]) == pytest.approx(reach, rel=1e-9)


def test_a_band_that_changed_is_left_out_or_modelled() -> None:
    first = plain_sales(300, seed=3, years=1).with_columns(condition_band=pl.lit("average"))
    better = pl.int_range(pl.len()) % 3 == 0
    again = first.with_columns(
        pl.col("event_date").dt.offset_by("1y"),
        price=pl.col("price") * pl.when(better).then(np.exp(0.7)).otherwise(np.exp(0.1)),
        condition_band=pl.when(better).then(pl.lit("top condition")).otherwise("condition_band"),
    )
    both = pl.concat([first, again])
    index = {
        changes: price_index(both, spec=PLAIN, method="repeat sales", period="year", changes=changes)
        for changes in ("leave out", "model")
    }
    assert index["leave out"].frame["log_index"][1] == pytest.approx(0.1)
    assert index["model"].frame["log_index"][1] == pytest.approx(0.1)
    assert index["leave out"].frame["sales"].sum() == 400


def test_a_period_without_enough_sales_is_a_gap() -> None:
    sales = plain_sales().filter(pl.col("event_date").dt.year() != 2021)
    frame = price_index(sales, spec=PLAIN, period="year").frame
    gap = frame.row(1, named=True)
    assert (gap["period"], gap["sales"], gap["index"], gap["note"]) == ("2021", 0, None, NOT_ENOUGH)
    assert frame["note"].drop_nulls().len() == 1


def test_a_period_that_shares_no_model_with_the_others_is_a_gap() -> None:
    sales = plain_sales().with_columns(
        model=pl.when(pl.col("event_date").dt.year() == 2022).then(pl.lit("other")).otherwise("model")
    )
    frame = price_index(sales, spec=PLAIN, period="year").frame
    assert frame["index"].is_null().to_list() == [False, False, True, False]


def test_scope_and_filter() -> None:
    sales = plain_sales()
    named = price_index(sales, spec=PLAIN, period="year", where={"make": "Ash", "model": "M1"})
    filtered = price_index(sales, spec=PLAIN, period="year", where=pl.col("model") == "M1")
    assert named.scope == "Ash M1"
    assert named.frame.equals(filtered.frame)
    assert price_index(sales, spec=PLAIN, period="year", where={}).scope == "the whole market"


def test_unsold_lots_are_no_sales() -> None:
    sales = plain_sales()
    offers = sales.with_columns(outcome=pl.lit("asking"), price=pl.col("price") * 2)
    with_offers = price_index(pl.concat([sales, offers]), spec=PLAIN, period="year")
    assert with_offers.frame.equals(price_index(sales, spec=PLAIN, period="year").frame)


def test_deflated_by_a_series() -> None:
    index = price_index(plain_sales(), spec=PLAIN, period="year")
    series = pl.DataFrame({"date": [date(2020 + k, 3, 1) for k in range(3)], "value": [200.0, 210.0, 220.5]})
    real = index.deflated(series).frame["real"]
    expected = (index.frame["index"][:3] / pl.Series([1.0, 1.05, 1.1025])).to_list()
    assert real[:3].to_list() == pytest.approx(expected)
    assert real[3] is None


@pytest.mark.parametrize(
    ("series", "message"),
    [
        (pl.DataFrame({"date": [date(2020, 1, 1)]}), "absent: value"),
        (pl.DataFrame({"date": [date(2020, 1, 1)], "value": [0.0]}), "positive values only"),
        (pl.DataFrame({"date": [date(2023, 1, 1)], "value": [1.0]}), "no value in the base period, 2020"),
    ],
)
def test_a_series_that_cannot_deflate_is_refused(series: pl.DataFrame, message: str) -> None:
    index = price_index(plain_sales(), spec=PLAIN, period="year")
    with pytest.raises(EvidenceError, match=message):
        index.deflated(series)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"method": "guess"}, "method is one of"),
        ({"period": "week"}, "a period is one of month"),
        ({"coverage": 1.0}, "coverage lies strictly between"),
        ({"window": 1}, "a window 2 periods"),
        ({"where": {"make": "Elm"}}, "no sale to make an index from: Elm"),
        ({"minimum": 5000}, "has that many in 0"),
        ({"method": "repeat sales"}, "the set of cars sold twice has that many in 0"),
        ({"changes": "ignore"}, "changes is one of leave out, model"),
    ],
)
def test_bad_requests_are_refused_with_a_reason(wrong: dict[str, object], message: str) -> None:
    with pytest.raises(EvidenceError, match=message):
        price_index(plain_sales(), spec=PLAIN, **{"period": "year", **wrong})  # type: ignore[arg-type]


@settings(max_examples=25, deadline=None)
@given(
    rows=st.integers(1, 60), seed=st.integers(0, 1000), method=st.sampled_from(METHODS),
    period=st.sampled_from(sorted(LENGTHS)), years=st.integers(1, 6),
)  # fmt: skip
def test_any_market_gives_an_index_or_a_sentence(
    rows: int, seed: int, method: str, period: str, years: int
) -> None:
    sales = plain_sales(rows, seed, years=years)
    try:
        frame = price_index(sales, spec=PLAIN, method=method, period=period, minimum=3).frame
    except PricingError as error:
        assert "\n" not in str(error)
        return
    assert frame["index"].is_null().to_list() == frame["note"].is_not_null().to_list()
    assert (frame["index"].drop_nulls() > 0).all()


def test_periods_number_every_stretch_of_the_calendar() -> None:
    dates = pl.Series([date(2020, 12, 31), date(2021, 1, 1), date(2022, 7, 9)])
    assert Periods.spanning(dates, "half-year").names == [
        "2020 H2",
        "2021 H1",
        "2021 H2",
        "2022 H1",
        "2022 H2",
    ]
    assert Periods.spanning(dates, "month").codes(dates).tolist() == [0, 1, 19]
    assert Periods.spanning(dates, "year").middles()[1] == (date(2021, 7, 2) - date(1970, 1, 1)).days


def test_cars_are_numbered_in_the_order_of_the_columns_that_name_them() -> None:
    """In that of a set, which differs from one process to the next, the last digits of an error did too."""
    names = list("hgfedcba")
    sales = pl.DataFrame({name: [row % (place + 2) for row in range(60)] for place, name in enumerate(names)})
    expected = np.unique(sales.select(names).to_numpy(), axis=0, return_inverse=True)[1].ravel()
    assert Clusters.of(sales, names, [], np.arange(60)).cars.tolist() == expected.tolist()
