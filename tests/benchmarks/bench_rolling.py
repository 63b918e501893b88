"""The price model the way people use it: fitted anew each month, asked for the cars of the next three; beside
its general-purpose peers, refitted as often on the same rows and columns.

Origins are the firsts of months (of quarters for Seattle's seven years of 43,313 sales) in the later half of
the sales. They are taken in an order that spreads them over that half, set by set in turn, until
``BENCH_MINUTES`` (20) are over; what is under way is finished. Every origin fits the model and all peers, so
each ratio is of the same cars, however many origins were reached. Peers keep their settings of ``peers.py``;
one that takes longer than the rest is not cut short. Prints, for each set and model, mean pinball loss over
seven levels of log price times 1000, coverage of the 80 % and 90 % ranges, and our loss over the peer's.
``BENCH_SETS`` names sets, ``BENCH_PROCESSES`` (2) how many origins are worked on at once. Run by::

    pytest -m benchmark -n 0 -s tests/benchmarks/bench_rolling.py
"""

import multiprocessing
import os
import time
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
import pytest

from pricing.model.price_model import PriceModel
from tests.benchmarks.bench_accuracy import OURS, SETS, pinball
from tests.benchmarks.peers import LEVELS, PEERS, matrix
from tests.outside.open_data import OpenData

pytestmark = pytest.mark.benchmark
MINUTES: Final = float(os.environ.get("BENCH_MINUTES", "20"))
PROCESSES: Final = int(os.environ.get("BENCH_PROCESSES", "2"))
CADENCE: Final = {"king_county": "1mo", "seattle_sales": "1q", "demo": "1mo", "simulated": "1mo"}
"""How often each set's models are fitted anew."""
CHOSEN: Final = tuple(os.environ.get("BENCH_SETS", ",".join(CADENCE)).split(","))
HORIZON: Final = "3mo"


def origins(data: OpenData, cadence: str) -> list[date]:
    """Days at which models are fitted, each with three months of sales after it, spread first, dense last."""
    days = sold(data)[str(data.spec.event_date)].cast(pl.Date)
    middle, last = days[len(days) // 2], days[-1]
    every = pl.select(pl.date_range(middle, last, cadence).dt.truncate(cadence)).to_series()
    full = every.filter((every > middle) & (every.dt.offset_by(HORIZON) <= last)).to_list()
    return [full[place] for place in spread(len(full))]


def spread(count: int) -> list[int]:
    """The places 0 to ``count - 1``, every prefix of them spread over the whole (van der Corput's sequence).

    >>> spread(8)
    [0, 4, 2, 6, 1, 5, 3, 7]
    """
    width = max(count - 1, 1).bit_length()
    turned = [int(f"{place:0{width}b}"[::-1], 2) for place in range(2**width)]
    return [place for place in turned if place < count]


def sold(data: OpenData) -> pl.DataFrame:
    """The sales alone, in order of date."""
    frame = data.frame
    return frame.filter(pl.col("outcome") == "sold") if data.spec.outcome in frame.columns else frame


def at_origin(data: OpenData, origin: date) -> pl.DataFrame:
    """The model and every peer fitted to what was known the day before ``origin``, scored on the three months
    from it: one row a model and car, ``loss``, ``ours`` (our loss of that car), ``in_80``, ``in_90``."""
    spec = data.spec
    when = pl.col(str(spec.event_date))
    known, sales = data.frame.filter(when < origin), sold(data)
    ahead = sales.filter(when >= origin, when < pl.lit(origin).dt.offset_by(HORIZON))
    past = sales.filter(when < origin)
    y, target = (side[spec.price].cast(pl.Float64).log().to_numpy() for side in (past, ahead))
    X, Z, codes = matrix(spec, past, ahead)
    ours = np.log(PriceModel(spec).fit(known).distribution(ahead).ppf(LEVELS))
    found = {OURS: ours} | {name: peer(X, y, Z, codes) for name, peer in PEERS.items()}
    return pl.concat(
        pl.DataFrame(
            {
                "loss": pinball(target, quantiles),
                "ours": pinball(target, ours),
                "in_80": (target >= quantiles[:, 1]) & (target <= quantiles[:, 5]),
                "in_90": (target >= quantiles[:, 0]) & (target <= quantiles[:, 6]),
            }
        ).with_columns(set=pl.lit(data.name), origin=pl.lit(origin), model=pl.lit(name))
        for name, quantiles in found.items()
        if quantiles is not None
    )


def at_origins(sets: dict[str, OpenData], minutes: float, processes: int) -> Iterator[pl.DataFrame]:
    """What :func:`at_origin` gives, in turn over the sets, least used first, until the time is over."""
    waiting = {name: origins(data, CADENCE[name]) for name, data in sets.items()}
    used = dict.fromkeys(waiting, 0.0)
    end = time.monotonic() + 60.0 * minutes
    with ProcessPoolExecutor(processes, multiprocessing.get_context("spawn")) as pool:
        running: dict[Future[pl.DataFrame], tuple[str, float]] = {}
        while True:
            while len(running) < processes and any(waiting.values()) and time.monotonic() < end:
                busy = [name for name, _ in running.values()]
                left = [name for name in waiting if waiting[name]]
                name = min(left, key=lambda set_: (busy.count(set_), used[set_]))
                future = pool.submit(at_origin, sets[name], waiting[name].pop(0))
                running[future] = name, time.monotonic()
            if not running:
                return
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                name, began = running.pop(future)
                used[name] += time.monotonic() - began
                yield future.result()


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """A row a set and model; ``ratio`` is our loss over the model's, of the same cars."""
    return (
        rows.group_by("set", "model", maintain_order=True)
        .agg(
            pl.col("origin").n_unique().alias("origins"),
            pl.len().alias("cars"),
            pl.col("loss").mean(),
            pl.col("in_80", "in_90").mean(),
            (pl.col("ours").mean() / pl.col("loss").mean()).alias("ratio"),
        )
        .sort("set", maintain_order=True)
    )


@pytest.fixture(autouse=True)
def _one_thread_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes share the cores out; threads of each would wait for one another."""
    monkeypatch.setenv("OMP_NUM_THREADS", "1")


def test_rolling(tmp_path: Path) -> None:
    sets = {name: SETS[name](tmp_path) for name in CHOSEN}
    parts = []
    for part in at_origins(sets, MINUTES, PROCESSES):
        parts.append(part)
        own = part.filter(pl.col("model") == OURS)
        print(*own.select("set", "origin", pl.len(), pl.col("loss").mean().round(1)).row(0))
    found = table(pl.concat(parts))
    with pl.Config(
        tbl_rows=-1, tbl_cols=-1, float_precision=3, tbl_hide_dataframe_shape=True,
        tbl_hide_column_data_types=True,
    ):  # fmt: skip
        print(f"\n{found}")
    ours = found.filter(pl.col("model") == OURS)
    assert (found.filter(pl.col("model") != OURS)["ratio"] <= 0.95).all()
    assert ours["in_80"].is_between(0.78, 0.82).all()
