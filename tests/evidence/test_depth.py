from datetime import date

import numpy as np
import polars as pl
import pytest

from pricing.errors import EvidenceError
from pricing.evidence.bands import band_premiums
from pricing.evidence.depth import asking_gap, market_depth, share_interval, sold_by_year
from pricing.evidence.seasons import seasons
from tests.evidence.markets import PLAIN, TODAY, plain_sales, small_market, small_model


def test_recent_sales_are_counted_back_from_the_day() -> None:
    frame = small_market()[0]
    depth = market_depth(frame, as_of=TODAY, model=small_model())
    sold = frame.filter(pl.col("outcome") == "sold")
    assert depth.recent["sales"].to_list() == [
        sold.filter(pl.col("event_date") > date(2026 - years, 6, 30)).height for years in (1, 3, 5)
    ]
    lots = frame.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))
    five = lots.filter(pl.col("event_date") > date(2021, 6, 30))
    assert depth.sold_share["lots"][2] == five.height
    assert depth.sold_share["share"][2] == pytest.approx((five["outcome"] == "sold").mean())


def test_lots_of_every_year_are_counted_once_and_a_year_without_any_is_a_gap() -> None:
    frame = small_market()[0]
    lots = frame.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))
    gap = lots["event_date"].dt.year().sort()[len(lots) // 2]
    without = frame.filter(
        ~((pl.col("channel") == "auction") & (pl.col("event_date").dt.year() == gap)),
    )
    found = sold_by_year(without, TODAY)
    assert found["lots"].sum() == lots.filter(pl.col("event_date").dt.year() != gap).height
    assert found.filter(year=gap).row(0) == (gap, 0, None, None, None)
    assert found["year"].diff().drop_nulls().unique().to_list() == [1]
    for row in found.drop_nulls("share").iter_rows(named=True):
        assert 0 <= row["low"] <= row["share"] <= row["high"] <= 1
        sold = lots.filter(pl.col("event_date").dt.year() == row["year"], pl.col("outcome") == "sold").height
        assert row["share"] == sold / row["lots"]


def test_hammer_prices_are_held_against_what_was_expected() -> None:
    depth = market_depth(small_market()[0])
    against = depth.against.rows_by_key("against", named=True, unique=True)
    lots = small_market()[0].filter(
        pl.col("outcome") == "sold", pl.col("price_basis") == "hammer", pl.col("low_estimate").is_not_null()
    )
    ratio = lots["amount"].cast(pl.Float64) / lots["low_estimate"].cast(pl.Float64)
    assert against["low_estimate"]["sales"] == len(ratio)
    assert against["low_estimate"]["median"] == pytest.approx(ratio.median())
    assert against["low_estimate"]["low"] <= ratio.median() <= against["low_estimate"]["high"]
    assert against["reserve"]["below"] == 0.0  # a lot below its reserve is not sold


def test_effective_sales_grow_with_sales_and_exceed_none() -> None:
    frame = small_market()[0]
    counts = frame.filter(pl.col("outcome") == "sold").group_by("make", "model").len().sort("len")
    thin, thick = counts.row(0, named=True), counts.row(-1, named=True)

    def effective(row: dict[str, str]) -> float:
        where = {name: row[name] for name in ("make", "model")}
        depth = market_depth(frame, where=where, model=small_model())
        assert depth.effective_sales is not None
        return depth.effective_sales

    assert 0 < effective(thin) < effective(thick)
    assert market_depth(frame).effective_sales is None


def test_no_evidence_is_said() -> None:
    with pytest.raises(EvidenceError, match="no record of Elm"):
        market_depth(small_market()[0], where={"make": "Elm"})
    with pytest.raises(EvidenceError, match="no sale of the whole market is on record by 2000-01-01"):
        market_depth(small_market()[0], as_of=date(2000, 1, 1))


def test_share_interval_covers_as_promised() -> None:
    """Clopper and Pearson's interval holds the share at least as often as it says; 8 of 10: (.4439,
    .9748)."""
    low, high = share_interval(8, 10)
    assert (low, high) == (pytest.approx(0.4439, abs=5e-5), pytest.approx(0.9748, abs=5e-5))
    hits = np.random.default_rng(1).binomial(20, 0.7, 2000)
    ends = {k: share_interval(int(k), 20) for k in np.unique(hits)}
    assert np.mean([ends[k][0] <= 0.7 <= ends[k][1] for k in hits]) >= 0.95  # type: ignore[operator]
    assert share_interval(0, 5)[0] == 0.0
    assert share_interval(0, 0) == (None, None)


def _offer(car: str, day: date, outcome: str, price: float) -> dict[str, object]:
    return {
        "record_id": f"{car}-{day}-{outcome}", "make": "Ash", "chassis_number": car, "event_date": day,
        "outcome": outcome, "price": price, "channel": "private",
    }  # fmt: skip


def test_asking_gap_of_hand_made_pairs() -> None:
    records = pl.DataFrame(
        [
            _offer("a", date(2024, 1, 1), "asking", 10_000.0),
            _offer("a", date(2024, 3, 1), "sold", 9_000.0),
            _offer("b", date(2024, 1, 1), "asking", 30_000.0),
            _offer("b", date(2024, 2, 1), "asking", 20_000.0),  # listed again: one piece of evidence
            _offer("b", date(2024, 4, 1), "sold", 16_000.0),
            _offer("c", date(2020, 1, 1), "asking", 5_000.0),  # too long before
            _offer("c", date(2024, 4, 1), "sold", 9_000.0),
            _offer("d", date(2024, 4, 1), "asking", 7_000.0),  # never sold
        ]
    )
    gap = asking_gap(records)
    assert gap.matched["ratio"].to_list() == [0.9, 0.8]
    assert gap.pairs == 2
    assert gap.per_cent == pytest.approx(100 * (np.sqrt(0.72) - 1))
    reach = 12.7062 * np.std(np.log([0.9, 0.8]), ddof=1) / np.sqrt(2)  # t(.975, 1), from memory
    assert gap.low == pytest.approx(100 * np.expm1(np.log(0.72) / 2 - reach), rel=1e-4)


def test_asking_gap_without_pairs_is_unknown_and_with_one_has_no_interval() -> None:
    pair = [_offer("a", date(2024, 1, 1), "asking", 10_000.0), _offer("a", date(2024, 3, 1), "sold", 9_000.0)]
    nothing = asking_gap(pl.DataFrame(pair[1:]))
    assert (nothing.pairs, nothing.per_cent, nothing.low, nothing.high) == (0, None, None, None)
    one = asking_gap(pl.DataFrame(pair))
    assert one.pairs == 1
    assert one.per_cent == pytest.approx(-10.0)
    assert one.low is None


def _seasonal(size: float, seed: int) -> pl.DataFrame:
    sales = plain_sales(3000, seed, years=6)
    spring = (pl.col("event_date").dt.month().is_between(4, 6)).cast(pl.Float64)
    return sales.with_columns(price=pl.col("price") * (size * spring).exp())


def test_a_season_is_found_where_there_is_one() -> None:
    found = seasons(_seasonal(0.08, 1), PLAIN)
    assert found.p_value is not None
    assert found.p_value < 0.001
    spring = found.effects.row(1, named=True)
    assert spring["season"] == "April to June"
    assert spring["low"] <= 100 * np.expm1(0.06) <= spring["high"]


def test_no_season_is_claimed_where_there_is_none() -> None:
    """At the 1 % level, 40 markets without a season: more than 3 claims have a chance below .001."""
    claims = sum(len(seasons(_seasonal(0.0, seed), PLAIN).effects) > 0 for seed in range(40))
    assert claims <= 3


def test_too_few_sales_for_a_season() -> None:
    found = seasons(plain_sales(60, years=1), PLAIN)
    assert (found.p_value, found.effects.height) == (None, 0)


def test_band_premiums_are_the_steps_of_the_scale() -> None:
    """Twenty markets, six premiums each: 95 % intervals hold the truth, give or take three of Bin(120,
    .95)."""
    truth, hits = 100 * float(np.expm1(0.3)), 0
    for seed in range(20):
        found = band_premiums(plain_sales(1200, seed, years=4), PLAIN, date(2023, 12, 31))
        assert found["to_date"].unique().sort().to_list() == [date(2021, 12, 31), date(2023, 12, 31)]
        hits += found.select(pl.lit(truth).is_between("low", "high").sum()).item()
    assert 107 <= hits <= 120


def test_band_premiums_have_gaps_where_bands_are_thin() -> None:
    sales = plain_sales(600, 5).filter(pl.col("condition_band") != "project")
    found = band_premiums(sales, PLAIN, date(2023, 12, 31))
    steps = found.filter(pl.col("next_below") == "project")
    assert steps["per_cent"].is_null().all()
    assert found.filter(pl.col("next_below") != "project")["per_cent"].is_not_null().all()
    few = band_premiums(plain_sales(12), PLAIN, date(2023, 12, 31))
    assert few["per_cent"].is_null().all()
