"""A backtest scores every later sale once, by a model that knows nothing of it or of what came after."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from data_demo.simulated import simulate_market
from pricing.errors import ModelError, TableError
from pricing.model.accuracy.backtest import Backtest, backtest, rolling_origins
from pricing.model.accuracy.ratio_study import ratio_study
from pricing.model.accuracy.scoring import LEVELS, pinball
from pricing.model.features.spec import FeatureSpec
from pricing.model.prediction import DEPTHS
from pricing.model.price_model import PriceModel
from pricing.vocabulary import CONDITION_BANDS

CARS = FeatureSpec.cars()
SMALL = FeatureSpec(groups=("make",), event_date="event_date")
QUANTILES = [f"{level:g}" for level in LEVELS]


def small_sales(rows: int = 400, seed: int = 1) -> pl.DataFrame:
    """Sales of three makes on as many days as rows, lognormal about each make's own price."""
    rng = np.random.default_rng(seed)
    make = rng.integers(0, 3, rows)
    return pl.DataFrame(
        {
            "record_id": [f"sale {row}" for row in range(rows)],
            "make": pl.Series(["Ash", "Elm", "Oak"]).gather(make),
            "event_date": [date(2020, 1, 1) + timedelta(days=row) for row in range(rows)],
            "price": np.exp(9.0 + 0.5 * make + 0.3 * rng.standard_normal(rows)),
        }
    )


@pytest.fixture(scope="module")
def market() -> pl.DataFrame:
    return simulate_market(1500, 30, 3)[0]


@pytest.fixture(scope="module")
def scored(market: pl.DataFrame) -> Backtest:
    return backtest(market, CARS, rolling_origins(market, CARS, 2))


@pytest.fixture(scope="module")
def small() -> Backtest:
    sales = small_sales()
    return backtest(sales, SMALL, rolling_origins(sales, SMALL, 2))


def test_every_later_sale_is_scored_once_from_the_last_origin_before_it(
    market: pl.DataFrame, scored: Backtest
) -> None:
    first = scored.origins[0]
    later = market.filter(pl.col("outcome") == "sold", pl.col("event_date") > first)
    assert sorted(scored.rows["record_id"]) == sorted(later["record_id"])
    for row in scored.rows.select("origin", "event_date", "days_ahead").iter_rows():
        assert row[0] == max(origin for origin in scored.origins if origin < row[1])
        assert row[2] == (row[1] - row[0]).days


def test_the_quantiles_are_those_of_a_model_fitted_to_what_was_known() -> None:
    sales = small_sales()
    origin = date(2020, 10, 1)
    rows = backtest(sales, SMALL, [origin]).rows
    model = PriceModel(SMALL).fit(sales.filter(pl.col("event_date") <= origin))
    later = sales.filter(pl.col("event_date") > origin)
    told = model.distribution(later.drop("price"))
    np.testing.assert_array_equal(rows.select(QUANTILES).to_numpy(), told.ppf(LEVELS))
    ranges = model.price_range(later.drop("price"), 0.9)
    assert_frame_equal(
        rows.select("low_90", "high_90", "evidence"),
        ranges.select(pl.col("low", "high").name.suffix("_90"), "evidence"),
    )


def test_later_prices_change_no_earlier_forecast(small: Backtest) -> None:
    last = small.origins[-1]
    shaken = small_sales().with_columns(
        pl.when(pl.col("event_date") > last).then(7.0 * pl.col("price")).otherwise("price").alias("price")
    )
    other = backtest(shaken, SMALL, small.origins)
    forecasts = [*QUANTILES, "low_80", "high_80", "low_90", "high_90"]
    assert_frame_equal(other.rows.select(forecasts), small.rows.select(forecasts))
    assert other.scores()["pinball"][0] > 2 * small.scores()["pinball"][0]


def test_what_was_known_may_differ_from_what_is_known_now() -> None:
    sales, asked = small_sales(), []

    def known(day: date) -> pl.DataFrame:
        asked.append(day)
        return sales.filter(pl.col("event_date") <= day).with_columns(pl.col("price") * 2.0)

    days = [date(2020, 12, 1), date(2020, 9, 1), date(2020, 12, 1)]
    twice = backtest(sales, SMALL, days, known=known)
    once = backtest(sales, SMALL, days)
    assert asked == [date(2020, 9, 1), date(2020, 12, 1)] == list(twice.origins)
    ratio = twice.rows["mid"] / once.rows["mid"]
    assert ratio.to_numpy() == pytest.approx(2.0, rel=1e-3)


def test_the_scores_are_those_of_the_rows(scored: Backtest) -> None:
    rows, overall = scored.rows, scored.scores().row(0, named=True)
    log = np.log(rows.select(QUANTILES).to_numpy())
    losses = 1000 * pinball(np.log(rows["actual"].to_numpy())[:, None], log, np.array(LEVELS))
    assert overall["pinball"] == pytest.approx(losses.mean())
    assert overall["sales"] == len(rows)
    given = rows.drop_nulls("low_80")
    held = given.filter(pl.col("actual").is_between("low_80", "high_80"))
    assert overall["coverage_80"] == pytest.approx(len(held) / len(given))
    assert overall["coverage_low_80"] < overall["coverage_80"] < overall["coverage_high_80"]
    alike = given.drop_nulls("low_90")
    for share in (80, 90):
        assert overall[f"width_{share}"] == pytest.approx(
            (alike[f"high_{share}"] / alike[f"low_{share}"]).median()
        )
    assert overall["ranges_90"] + overall["withheld_90"] == len(rows)
    study = ratio_study(rows["mid"], rows["actual"])
    assert (overall["cod"], overall["prb_high"]) == pytest.approx((study.cod, study.to_dict()["prb_high"]))
    assert rows["mid"].equals(rows["0.5"].alias("mid"))


def test_a_wider_promise_is_never_printed_narrower(scored: Backtest) -> None:
    """Where 90 % ranges are refused for the widest 80 % ones, as on a market that knows little of many."""
    ratio = pl.col("high_80") / pl.col("low_80")
    refused = [pl.when(ratio <= ratio.quantile(0.2)).then(name).alias(name) for name in ("low_90", "high_90")]
    few = Backtest(scored.rows.with_columns(refused), scored.origins, scored.parts)
    given = few.rows.drop_nulls("low_90")
    assert (given["high_90"] / given["low_90"]).median() < few.rows.select(ratio.median()).item()
    for scores in (few.scores(), few.scores("make")):
        both = scores.drop_nulls("width_90")
        assert both.height and (both["width_90"] >= both["width_80"]).all()
    none = [pl.lit(None, pl.Float64).alias(name) for name in ("low_90", "high_90")]
    overall = (
        Backtest(scored.rows.with_columns(none), scored.origins, scored.parts).scores().row(0, named=True)
    )
    assert overall["width_90"] is None and overall["width_80"] is not None


def test_every_part_adds_up_to_the_whole(scored: Backtest) -> None:
    assert list(scored.parts) == ["evidence", "condition_band", "make", "channel", "sale_year", "decade"]
    whole = scored.scores().row(0, named=True)
    for part in scored.parts:
        table = scored.scores(part)
        assert table["sales"].sum() == whole["sales"]
        assert table["covered_80"].sum() == whole["covered_80"]
        mean = (table["crps"] * table["sales"]).sum() / whole["sales"]
        assert mean == pytest.approx(whole["crps"])
    summary = scored.summary()
    assert summary["part"].unique(maintain_order=True).to_list() == [None, *scored.parts]


def test_parts_with_an_order_keep_it_and_the_unknown_comes_last(scored: Backtest) -> None:
    assert scored.scores("condition_band")["value"].to_list() == [*CONDITION_BANDS, None]
    depths = scored.scores("evidence")["value"].to_list()
    assert depths == [depth for depth in DEPTHS if depth in depths]
    years = scored.scores("sale_year")["value"].to_list()
    assert years == sorted(years)


def test_a_sale_alone_in_its_part_has_no_ratio_study() -> None:
    sales = small_sales()
    alone = sales.with_columns(
        pl.when(pl.col("record_id") == "sale 399").then(pl.lit("Yew")).otherwise("make").alias("make")
    )
    table = backtest(alone, SMALL, [date(2020, 12, 1)]).scores("make")
    yew = table.row(table["value"].to_list().index("Yew"), named=True)
    assert (yew["sales"], yew["cod"], yew["median_ratio"]) == (1, None, None)
    # a make never seen, and three others to judge it by: refused, and scored by its quantiles alone
    assert (yew["withheld_80"], yew["coverage_80"], yew["interval_score_80"]) == (1, None, None)
    assert yew["pinball"] > 0


def test_a_market_too_small_for_ranges_is_scored_without_them() -> None:
    scores = backtest(small_sales(40), SMALL, [date(2020, 1, 21)]).scores().row(0, named=True)
    assert (scores["ranges_80"], scores["withheld_80"], scores["coverage_80"]) == (0, 19, None)
    assert scores["pinball"] > 0


def test_ranges_of_a_plain_market_cover_about_what_they_promise() -> None:
    sales = small_sales(2000, seed=4)
    scores = backtest(sales, SMALL, rolling_origins(sales, SMALL, 2)).scores().row(0, named=True)
    # 1,000 later sales, 200 and more to calibrate on: standard error of the coverage about 0.03
    assert scores["coverage_80"] == pytest.approx(0.8, abs=0.09)
    assert scores["coverage_90"] == pytest.approx(0.9, abs=0.07)
    # of the lognormal law it is drawn from, deviation 0.3: crps 1000 * 0.3 / sqrt(pi) at best
    assert 0.95 * 169.3 < scores["crps"] < 1.15 * 169.3


def test_the_same_seed_gives_the_same_scores(small: Backtest) -> None:
    assert_frame_equal(backtest(small_sales(), SMALL, small.origins).summary(), small.summary())


def test_progress_counts_the_origins() -> None:
    told: list[tuple[int, int]] = []
    origins = [date(2020, 9, 1), date(2020, 12, 1)]
    backtest(small_sales(), SMALL, origins, progress=lambda _, done, total: told.append((done, total)))
    assert told == [(0, 2), (1, 2), (2, 2)]


@pytest.mark.parametrize("count", [1, 3, 7])
def test_origins_split_the_later_half_evenly(count: int) -> None:
    sales = small_sales()
    origins = rolling_origins(sales.sample(fraction=1.0, shuffle=True, seed=0), SMALL, count)
    assert len(origins) == count
    assert sales.filter(pl.col("event_date") <= origins[0]).height == 200
    edges = [*origins, date.max]
    sizes = [
        sales.filter(pl.col("event_date") > start, pl.col("event_date") <= end).height
        for start, end in zip(edges, edges[1:], strict=False)
    ]
    assert max(sizes) - min(sizes) <= 1


def test_what_cannot_be_scored_is_refused(scored: Backtest) -> None:
    sales = small_sales(60)
    with pytest.raises(ModelError, match="at least 1 origin; got none"):
        backtest(sales, SMALL, [])
    with pytest.raises(ModelError, match="no sale is later than the first origin, 2020-02-29"):
        backtest(sales, SMALL, [date(2020, 2, 29)])
    with pytest.raises(ModelError, match="nothing to learn from"):
        backtest(sales, SMALL, [date(2019, 1, 1)])
    with pytest.raises(TableError, match="names no date column"):
        backtest(sales, FeatureSpec(), [date(2020, 2, 1)])
    with pytest.raises(TableError, match="lacks the column event_date"):
        rolling_origins(sales.drop("event_date"), SMALL, 1)
    with pytest.raises(ModelError, match="at least 1 origin; got 0"):
        rolling_origins(sales, SMALL, 0)
    with pytest.raises(ModelError, match="sales on several days; got 60 on 1"):
        rolling_origins(sales.with_columns(event_date=pl.lit(date(2020, 1, 1))), SMALL, 1)
    with pytest.raises(ModelError, match="told apart by evidence.*got 'colour'"):
        scored.scores("colour")
    later = pl.col("event_date") > date(2020, 2, 1)
    wrong = sales.with_columns(price=pl.when(later).then(-1.0).otherwise("price"))
    with pytest.raises(ModelError, match="28 of 60 prices in column price are not positive and finite"):
        backtest(wrong, SMALL, [date(2020, 2, 1)])
