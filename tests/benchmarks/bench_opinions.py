"""What statements of people do to prices: simulated markets of known truth, with and without them.

In every market some models lose all their sales and some all but one to five. Prints, over the seeds and by
how many sales a model has, the mean error of the log mid against the true median, with statements over
without, and how much of the true law the 80 % ranges hold; and how much longer a fit takes with 10,000
statements. Run by::

    pytest -m benchmark -n 0 -s tests/benchmarks/bench_opinions.py
"""

import os
import time
from typing import Final

import numpy as np
import polars as pl
import pytest

from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from tests.simulated_markets import KnownMarket, Setting, draw_market, walking
from tests.simulated_sources import Sources, draw_statements

pytestmark = pytest.mark.benchmark

SEEDS: Final = range(int(os.environ.get("BENCH_SEEDS", "8")))
SETTING: Final = Setting(level=walking(0.05), sales=3_000, models=80, makes=10)
BARE, THIN = 14, 14
"""Models without a sale, and with one to five."""

KINDS: Final = {
    "honest": Sources(),
    "off by 40 %": Sources(off=float(np.log(1.4)), either_way=True),
    "all too high": Sources(off=float(np.log(1.4))),
    "all too low": Sources(off=float(np.log(0.6))),
    "spans half as wide": Sources(wide=0.5),
    "one, silly": Sources(people=1, off=float(np.log(3.0)), scale=0.5),
}
WANTED: Final = ("honest", "off by 40 %", "all too high", "all too low", "spans half as wide")
"""Sources of which coverage and error are promised; of the others they are shown."""

STRANGERS: Final = {
    "honest, no record": Sources(),
    "off by 40 %, no record": Sources(off=float(np.log(1.4)), either_way=True),
    "all too low, no record": Sources(off=float(np.log(0.6))),
}
"""Sources that speak of models without a sale alone, so that nothing can be learnt of them."""

DEPTHS: Final = ("no sale", "1 to 5", "6 to 20", "over 20")


def thinned(market: KnownMarket, seed: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The sales that are left, and the number of them of every model."""
    rng = np.random.default_rng(1_000 + seed)
    models = market.parameters.models["model"].to_numpy()
    chosen = rng.permutation(models)[: BARE + THIN]
    kept = dict.fromkeys(chosen[:BARE], 0) | {name: int(rng.integers(1, 6)) for name in chosen[BARE:]}
    shuffled = market.sales.with_columns(rank=pl.Series(rng.random(market.sales.height)))
    limit = pl.col("model").replace_strict(kept, default=10**9, return_dtype=pl.Int64)
    sales = (
        shuffled.filter(pl.col("rank").rank("ordinal").over("model") <= limit)
        .drop("rank")
        .sort("event_date", maintain_order=True)
    )
    counts = pl.DataFrame({"model": models}).join(
        sales.group_by("model").len("sales"), on="model", how="left"
    )
    return sales, counts.with_columns(pl.col("sales").fill_null(0))


def judged(model: PriceModel, market: KnownMarket, counts: pl.DataFrame) -> pl.DataFrame:
    """For each asked car the error of the log mid and the share of its true law inside the 80 % range."""
    day = market.next_day
    law = market.law(day)
    low, mid, high = np.log(model.distribution(market.asked, as_of=day).ppf([0.1, 0.5, 0.9])).T
    depth = market.asked.join(counts, on="model", how="left", maintain_order="left")["sales"]
    return pl.DataFrame(
        {
            "depth": pl.Series(DEPTHS)[np.digitize(depth.to_numpy(), [1, 6, 21])],
            "error": np.abs(mid - law.median()),
            "held": law.cdf(high) - law.cdf(low),
            "width": high - low,
        }
    )


def test_opinions() -> None:
    found: dict[str, list[pl.DataFrame]] = {name: [] for name in ("none", *KINDS, *STRANGERS)}
    for seed in SEEDS:
        market = draw_market(SETTING, seed, asked=1_500)
        sales, counts = thinned(market, seed)
        start = PriceModel(FeatureSpec.cars()).fit(sales)
        for name in found:
            said = None
            if name in KINDS:
                said = draw_statements(market, SETTING, KINDS[name], seed)
            elif name in STRANGERS:
                bare = counts.filter(pl.col("sales") == 0)["model"]
                said = draw_statements(market, SETTING, STRANGERS[name], seed, bare)
            model = PriceModel(start.spec).fit(sales, start=start, recalibrate=False, opinions=said)
            found[name].append(judged(model, market, counts))
    table = pl.concat(
        pl.concat(parts).group_by("depth").agg(pl.col("error", "held", "width").mean(), cars=pl.len())
        .with_columns(sources=pl.lit(name))
        for name, parts in found.items()
    )  # fmt: skip
    baseline = table.filter(pl.col("sources") == "none").select("depth", without="error")
    table = table.join(baseline, on="depth").with_columns(ratio=pl.col("error") / pl.col("without"))
    order = pl.col("depth").cast(pl.Enum(DEPTHS))
    with pl.Config(tbl_rows=-1, float_precision=3, tbl_hide_dataframe_shape=True):
        print(f"\n{len(SEEDS)} seeds, 80 % ranges")
        print(table.sort(order).select("depth", "sources", "cars", "error", "ratio", "held", "width"))
    ratio = {(depth, name): value for depth, name, value in table.select("depth", "sources", "ratio").rows()}
    held = {(depth, name): value for depth, name, value in table.select("depth", "sources", "held").rows()}
    assert ratio["no sale", "honest"] <= 0.60
    assert 0.77 <= held["no sale", "honest"] <= 0.83
    assert ratio["1 to 5", "honest"] <= 0.85
    assert abs(ratio["over 20", "honest"] - 1.0) <= 0.01
    for name in WANTED:
        for depth in DEPTHS:
            assert held[depth, name] > 0.75, (depth, name)
            assert ratio[depth, name] <= 1.02, (depth, name)


def test_time_of_ten_thousand_statements() -> None:
    """Both kinds of fit in turn, thrice; the medians are compared."""
    setting = Setting(sales=50_000, models=1_250, makes=60)
    market = draw_market(setting, seed=1, asked=10)
    said = draw_statements(market, setting, Sources(people=2), seed=1)[:10_000]
    seconds: dict[bool, list[float]] = {False: [], True: []}
    for _ in range(3):
        for heard in seconds:
            started = time.process_time()
            PriceModel(FeatureSpec.cars()).fit(market.sales, opinions=said if heard else None)
            seconds[heard].append(time.process_time() - started)
    without, with_them = (float(np.median(seconds[heard])) for heard in (False, True))
    print(
        f"\nfit of {market.sales.height:,} sales: {without:.2f} s of processor without, {with_them:.2f} s "
        f"with {said.height:,} statements, {with_them / without - 1:+.1%}"
    )
    assert with_them <= 1.05 * without
