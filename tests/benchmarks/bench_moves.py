"""The number after a market move: published prices and ranges against markets whose truth is known.

Prints a row a case: bias of the published mid and of the regression's own (log, against the true median on
the day after the last sale, and three months on with the level held), mean absolute errors, coverage of the
80 % and 90 % ranges (exact, from the known law of one sale), mean percentile rank of drawn sales, and the
share of cars for which a better band or a higher score has a lower low, mid or high. Then small and odd
markets. ``BENCH_SEEDS`` (8) markets a case of ``BENCH_SALES`` (2,000) sales, in ``BENCH_PROCESSES`` (2). Run
by::

    pytest -m benchmark -n 0 -s tests/benchmarks/bench_moves.py
"""

import multiprocessing
import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from datetime import date, timedelta
from itertools import starmap
from typing import Any, Final

import numpy as np
import polars as pl
import pytest

from pricing.arrays import Floats
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.vocabulary import CONDITION_BANDS
from tests.simulated_markets import (
    FALL,
    RISE,
    TOP_SCATTER,
    KnownMarket,
    Setting,
    draw_market,
    growing,
    moved,
    walking,
)

pytestmark = pytest.mark.benchmark
SEEDS: Final = int(os.environ.get("BENCH_SEEDS", "8"))
SALES: Final = int(os.environ.get("BENCH_SALES", "2000"))
PROCESSES: Final = int(os.environ.get("BENCH_PROCESSES", "2"))
AHEAD: Final = timedelta(days=91)
ASKED: Final = 200
SCORES: Final = np.arange(4.0, 100.0, 8.0)

MOVES: Final = {
    "flat": Setting(),
    "+5 % a year": Setting(growing(0.05)),
    **{f"fell 30 % {months} months ago": Setting(moved(FALL, months)) for months in (3, 6, 12, 18)},
    **{f"rose 30 % {months} months ago": Setting(moved(RISE, months)) for months in (3, 6, 12, 18)},
    **{f"slid 30 % over {months} months": Setting(moved(FALL, months, months)) for months in (6, 12)},
    "random walk, 10 % a year": Setting(walking(0.1)),
    "fell 12 months ago, top scatters": Setting(moved(FALL, 12), scatter=TOP_SCATTER, top_step=0.4),
}
"""Markets by the path of their common level; a fall or a rise takes a month and holds after it."""

HALF_UNSOLD: Final = Setting(unsold=0.5, ungraded=0.0, scored=1.0)
"""Sellers know no more than the records say; where they do, a reserve tells of the price itself."""
OTHERS: Final = {
    "top scatters": Setting(scatter=TOP_SCATTER, top_step=0.4),
    "half unsold, left out": HALF_UNSOLD,
    "half unsold, reserves known": replace(HALF_UNSOLD, reserves=True),
    "half unsold, highest bids known": replace(HALF_UNSOLD, bids=True),
    "half unsold, both known": replace(HALF_UNSOLD, reserves=True, bids=True),
    "the same, sellers know more": Setting(unsold=0.5, reserves=True, bids=True),
}
SMALL: Final = {
    f"{sales} sales": Setting(
        sales=sales, models=max(3, min(24, sales // 20)), makes=max(1, min(6, sales // 80))
    )
    for sales in (50, 100, 200, 240, 480)
}
CASES: Final = {**MOVES, **OTHERS, **SMALL}


def measure(case: str, seed: int, sales: int = SALES) -> dict[str, Any]:
    """One market of a case: what :func:`table` averages over seeds.

    The spec, the fit and the questions are those of anybody; only the truth is known beside them.
    """
    setting = CASES[case] if case in SMALL else replace(CASES[case], sales=sales)
    market = draw_market(setting, seed, ASKED)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales)
    result: dict[str, Any] = {"case": case, "seed": seed}
    for name, day in (("", market.next_day), ("_3m", market.next_day + AHEAD)):
        result |= {f"{key}{name}": value for key, value in _asked(model, market, day, seed).items()}
    result |= _order(model, market.asked, market.next_day)
    return result


def _asked(model: PriceModel, market: KnownMarket, day: date, seed: int) -> dict[str, float | None]:
    """How published prices and the regression's own mid compare with the law on a day."""
    law, cars = market.law(day), market.asked
    eighty, ninety = (model.price_range(cars, coverage, as_of=day) for coverage in (0.8, 0.9))
    given = eighty["mid"].is_not_null().to_numpy()
    true, log_mid = law.median(), model.log_mid(cars, as_of=day)
    mid = eighty["mid"].cast(pl.Float64).log().fill_null(np.nan).to_numpy()
    drawn = law.draw(1, np.random.default_rng(seed)).ravel()
    rank = model.distribution(cars, as_of=day).cdf(np.exp(drawn))
    return {
        "refused": 1.0 - given.mean(),
        "bias": _mean((mid - true)[given]),
        "own_bias": float((log_mid - true).mean()),
        "error": _mean(np.abs(mid - true)[given]),
        "own_error": float(np.abs(log_mid - true).mean()),
        "held_80": _mean(_held(law.cdf, eighty)[given]),
        "held_90": _mean(_held(law.cdf, ninety)[ninety["mid"].is_not_null().to_numpy()]),
        "rank": _mean(rank[given]),
    }


def _held(cdf: Any, ranges: pl.DataFrame) -> Floats:
    """Probability that one sale falls inside each range."""
    low, high = (ranges[end].cast(pl.Float64).log().fill_null(np.nan).to_numpy() for end in ("low", "high"))
    return np.asarray(cdf(high) - cdf(low))


def _mean(values: Floats) -> float | None:
    return float(values.mean()) if values.size else None


def _order(model: PriceModel, cars: pl.DataFrame, day: date) -> dict[str, float | None]:
    """Share of cars for which a better band, or a higher score, has a lower low, mid or high."""
    bands = pl.DataFrame(
        {"condition_band": CONDITION_BANDS, "condition_score": [None] * len(CONDITION_BANDS)}
    )
    places = np.minimum(SCORES // 25, 3).astype(int)
    scores = pl.DataFrame(
        {"condition_band": [CONDITION_BANDS[place] for place in places], "condition_score": SCORES}
    )
    result: dict[str, float | None] = {}
    for name, tried in (("bands", bands), ("scores", scores)):
        asked = cars.drop("condition_band", "condition_score").join(
            tried.cast({"condition_score": pl.Float64}), how="cross", maintain_order="left_right"
        )
        ends = model.price_range(asked, as_of=day).select("low", "mid", "high").cast(pl.Float64)
        prices = ends.to_numpy().reshape(len(cars), len(tried), 3)
        fell = prices[:, 1:] < prices[:, :-1] * (1.0 - 1e-9)
        result[f"{name}_fell"] = float(fell.any(axis=(1, 2)).mean())
    return result


def measured(
    cases: Iterable[str], seeds: Sequence[int], processes: int = 1, tell: Callable[[str], None] | None = None
) -> pl.DataFrame:
    """A row a market: every case with every seed; ``tell`` is told each one when it is done."""
    tasks = [(case, seed) for case in cases for seed in seeds]
    rows = []
    with ExitStack() as stack:
        done: Iterable[dict[str, Any]] = starmap(measure, tasks)
        if processes > 1:
            pool = ProcessPoolExecutor(processes, multiprocessing.get_context("spawn"))
            done = stack.enter_context(pool).map(measure, *zip(*tasks, strict=True))
        for row in done:
            rows.append(row)
            if tell is not None:
                tell(f"{row['case']}, seed {row['seed']}: bias {row['bias']}, held {row['held_80']}")
    return pl.DataFrame(rows, infer_schema_length=None)


def table(markets: pl.DataFrame) -> pl.DataFrame:
    """A row a case: means over its markets; ``noise`` is the standard error of the bias, ``worst`` the
    largest absolute bias of a market, ``worse`` the share of markets in which the published mid is further
    from the truth than the regression's own. A seed gives the same cars and luck whatever the path."""
    return markets.group_by("case", maintain_order=True).agg(
        pl.col("refused", "bias", "own_bias").mean(),
        noise=pl.col("bias").std() / pl.col("bias").count().sqrt(),
        worst=pl.col("bias").abs().max(),
        error=pl.col("error").mean(),
        own_error=pl.col("own_error").mean(),
        worse=(pl.col("error") > pl.col("own_error") + 0.0005).mean(),
        held_80=pl.col("held_80").mean(),
        held_90=pl.col("held_90").mean(),
        rank=pl.col("rank").mean(),
        bands_fell=pl.col("bands_fell").mean(),
        scores_fell=pl.col("scores_fell").mean(),
        bias_3m=pl.col("bias_3m").mean(),
        own_bias_3m=pl.col("own_bias_3m").mean(),
        held_80_3m=pl.col("held_80_3m").mean(),
        rank_3m=pl.col("rank_3m").mean(),
    )


def one_price(seed: int) -> dict[str, Any]:
    """Every car sold at 5,000: the range, and the percentile rank of a price one cent below and above it."""
    market = draw_market(Setting(sales=400), seed, 20)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales.with_columns(price=pl.lit(5000.0)))
    ranges = model.price_range(market.asked, as_of=market.next_day)
    below, above = (
        float(np.mean(model.distribution(market.asked, as_of=market.next_day).cdf([price] * 20)))
        for price in (4999.99, 5000.01)
    )
    return {
        "low": ranges["low"].mean(),
        "high": ranges["high"].mean(),
        "rank_below": below,
        "rank_above": above,
        "reason": ranges["reason"][0],
    }


def scale_ends(seed: int) -> dict[str, Any]:
    """Factor of the mid from one score to another at both ends of the scale, beside the true one."""
    market = draw_market(Setting(sales=SALES, scored=1.0, ungraded=0.0), seed, ASKED)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales)
    result = {}
    for band, low, high in (("project", 0.0, 12.0), ("top condition", 88.0, 100.0)):
        mids = [
            model.price_range(
                market.asked.with_columns(condition_band=pl.lit(band), condition_score=pl.lit(score)),
                as_of=market.next_day,
            )["mid"].cast(pl.Float64)
            for score in (low, high)
        ]
        result[f"{low:g} to {high:g}"] = (mids[1] / mids[0]).mean()
    return result | {
        "true 0 to 12": (700 / 480) ** (12 / 12.5),
        "true 88 to 100": (10000 / 8700) ** (12 / 12.5),
    }


def other_channel(seed: int) -> dict[str, Any]:
    """Only auctions on record: mean log width of the range for an auction's and for a dealer's price."""
    market = draw_market(Setting(sales=SALES), seed, ASKED)
    model = PriceModel(FeatureSpec.cars()).fit(market.sales.with_columns(channel=pl.lit("auction")))
    auction, dealer = (
        model.price_range(market.asked.with_columns(channel=pl.lit(channel)), as_of=market.next_day)
        for channel in ("auction", "dealer")
    )
    widths = [(ends["high"] / ends["low"]).log().mean() for ends in (auction, dealer)]
    return {"auction": widths[0], "dealer": widths[1], "remark": dealer["remark"][0]}


def inverted_bands(seed: int) -> dict[str, Any]:
    """Bands of the records in the wrong order: mean mid of each band."""
    market = draw_market(Setting(sales=SALES, scored=0.0), seed, ASKED)
    turned = pl.col("condition_band").replace(
        dict(zip(CONDITION_BANDS, reversed(CONDITION_BANDS), strict=True))
    )
    model = PriceModel(FeatureSpec.cars()).fit(market.sales.with_columns(turned))
    result: dict[str, Any] = {}
    for band in CONDITION_BANDS:
        cars = market.asked.with_columns(
            condition_band=pl.lit(band), condition_score=pl.lit(None, pl.Float64)
        )
        ranges = model.price_range(cars, as_of=market.next_day)
        result[band] = ranges["mid"].cast(pl.Float64).mean()
    return result | {"remark": ranges["remark"][0]}


def show(frame: pl.DataFrame) -> None:
    """Print a table whole."""
    with pl.Config(
        tbl_rows=-1, tbl_cols=-1, tbl_width_chars=240, float_precision=3, fmt_str_lengths=60,
        tbl_hide_dataframe_shape=True, tbl_hide_column_data_types=True,
    ):  # fmt: skip
        print(f"\n{frame}")


@pytest.fixture(autouse=True)
def _one_thread_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes share the cores out; threads of each would wait for one another."""
    monkeypatch.setenv("OMP_NUM_THREADS", "1")


def test_moves() -> None:
    found = table(measured(MOVES, range(1, SEEDS + 1), PROCESSES, print))
    show(found.select("case", pl.exclude("case", "refused")))
    assert (found["bias"].abs() <= 0.03).all()
    assert found["held_80"].is_between(0.76, 0.84).all()
    assert (found["bands_fell"] == 0).all() and (found["scores_fell"] == 0).all()
    assert (found["error"] <= found["own_error"] + 0.001).all()


def test_unsold_lots_and_scatter() -> None:
    found = table(measured(OTHERS, range(1, SEEDS + 1), PROCESSES, print))
    show(found.select(pl.exclude("refused", "bias_3m", "own_bias_3m", "held_80_3m", "rank_3m")))
    bias = dict(zip(found["case"], found["bias"].abs(), strict=True))
    assert bias["half unsold, reserves known"] <= 0.03
    assert bias["half unsold, highest bids known"] <= bias["half unsold, left out"] + 0.001


def test_small_markets() -> None:
    found = table(measured(SMALL, range(1, SEEDS + 1), PROCESSES, print))
    show(found.select(pl.exclude("bias_3m", "own_bias_3m", "held_80_3m", "rank_3m")))
    assert (found["held_80"].drop_nulls().is_between(0.77, 0.83)).all()
    assert (found["error"].drop_nulls() <= found["own_error"] + 0.001).all()


def test_odd_markets() -> None:
    price, ends, channel = one_price(1), scale_ends(1), other_channel(1)
    for name, row in {
        "one price only": price,
        "factor between two scores": ends,
        "log width of the range, only auctions on record": channel,
        "mid by band, bands inverted in the records": inverted_bands(1),
    }.items():
        print(f"\n{name}:")
        show(pl.DataFrame([row]))
    assert price["rank_below"] == 0.0 and price["rank_above"] == 1.0
    for end in ("0 to 12", "88 to 100"):
        assert 1.05 < ends[end] < 1.15 * ends[f"true {end}"]
    assert channel["dealer"] > channel["auction"] and channel["remark"] is not None
