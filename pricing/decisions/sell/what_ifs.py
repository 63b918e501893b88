"""What if, before a sale: each repair and each missing paper, what the sale would then leave, and what cars
brought that were sold before and after such a change.

A repair makes one item sound in every draw; the car is then priced in that state, at the same levels. A paper
is a comparison of different cars, and cars that have one also bring more for what else their owners cared
for: whether it is the paper that brings more, only cars sold before and after can say. Of cars sold twice,
without the change and later with it, the price model says what the second sale would have brought without it;
what it brought beyond is the change's.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import quantiles
from pricing.decisions.car_price import GivesDistributions
from pricing.decisions.simulation import CarDraws
from pricing.vocabulary import CONDITION_BANDS

FEWEST_PAIRS: Final = 8
CONFIDENCE: Final = 0.9

_BETTER: Final = {
    "history file": ("history_file", pl.col("history_file").fill_null(value=False)),
    "numbers documented": (
        "matching_numbers", (pl.col("matching_numbers") == "documented").fill_null(value=False),
    ),
    "repair": (
        "condition_band",
        pl.col("condition_band").replace_strict(
            {band: place for place, band in enumerate(CONDITION_BANDS)}, default=None, return_dtype=pl.Int8
        ),
    ),
}  # fmt: skip
"""Changes looked for, a paper that was not there or a better condition band: their column, and what rises."""


@dataclass(frozen=True)
class BeforeAndAfter:
    """``pairs`` of sales of the same car around a ``change``, the mean of the logarithm of what the second
    brought over what it would have brought without it (``effect``; None below two pairs), and whether its
    ``CONFIDENCE`` interval lies above nought (``supported``)."""

    change: str
    pairs: int
    effect: float | None
    supported: bool


def before_and_after(sales: pl.DataFrame, model: GivesDistributions) -> tuple[BeforeAndAfter, ...]:
    """Read each change from a market's sales."""
    keys = ["make", "model", "chassis_number"]
    states = ("history_file", "matching_numbers", "condition_band", "condition_score")
    sold = sales.filter(pl.col("outcome") == "sold", pl.col("chassis_number").is_not_null())
    pairs = (
        sold.filter(pl.len().over(keys) > 1)
        .sort(*keys, "event_date", "record_id")
        .with_columns(rank.alias(change) for change, (_, rank) in _BETTER.items())
        .with_columns(
            pl.col(name).shift(1).over(keys).alias(f"{name}_before")
            for name in ("price", "event_date", *states, *_BETTER)
        )
        .filter(pl.col("price_before").is_not_null())
    )
    return tuple(
        _read(model, change, pairs.filter(pl.col(change) > pl.col(f"{change}_before")), column)
        for change, (column, _) in _BETTER.items()
    )


def _read(model: GivesDistributions, change: str, pairs: pl.DataFrame, column: str) -> BeforeAndAfter:
    if pairs.height < 2:
        return BeforeAndAfter(change, pairs.height, None, supported=False)
    state = (column, "condition_score") if column == "condition_band" else (column,)
    unchanged = pairs.with_columns(pl.col(f"{name}_before").alias(name) for name in state)
    earlier = unchanged.with_columns(event_date="event_date_before")
    moved = np.log(model.distribution(unchanged).mid / model.distribution(earlier).mid)
    price = pairs.select(pl.col("price", "price_before").cast(pl.Float64))
    logs = np.log((price["price"] / price["price_before"]).to_numpy()) - moved
    logs = logs[np.isfinite(logs)]
    if len(logs) < 2:
        return BeforeAndAfter(change, len(logs), None, supported=False)
    error = float(logs.std(ddof=1)) / np.sqrt(len(logs))
    low = float(logs.mean()) - float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, len(logs) - 1)) * error
    supported = len(logs) >= FEWEST_PAIRS and low > 0.0
    return BeforeAndAfter(change, len(logs), float(logs.mean()), bool(supported))


MOST_ITEMS: Final = 12
"""Repairs looked at: those that would give back the most points of score."""

PAPERS: Final[tuple[tuple[str, dict[str, Any]], ...]] = (
    ("history file", {"history_file": True}),
    ("numbers documented", {"matching_numbers": "documented"}),
)
"""Papers that a car may lack, and what they would let one say."""

COLUMNS: Final = {
    "item": pl.String, "kind": pl.String, "cost_low": pl.Float64, "cost_mid": pl.Float64, "cost_high":
    pl.Float64, "net_before": pl.Float64, "net_after": pl.Float64, "gain": pl.Float64, "left": pl.Float64,
    "pays": pl.Float64, "pairs": pl.Int64, "supported": pl.Boolean,
}  # fmt: skip


def what_ifs(
    model: GivesDistributions,
    draws: CarDraws,
    net: Callable[[Floats], Floats],
    rate: float,
    costs: RepairCosts | None,
    papers: Mapping[str, Decimal],
    compared: tuple[BeforeAndAfter, ...],
) -> pl.DataFrame:
    """One row an item (``COLUMNS``), what leaves most beyond its cost first, in the seller's currency.

    Args:
        draws: the car on the channel that it is to be sold on.
        net: what a sale at these prices (all-in, the model's currency) leaves in each draw.
        rate: units of the seller's currency for one of the model's.
        costs: repairs of the inspected car, in the model's currency.
        papers: what each paper would cost to get, in the seller's currency.
        compared: what cars sold before and after such a change brought.

    ``cost_*`` are P10, P50 and P90 of the cost (null: not said); ``net_before`` and ``net_after`` what a
    sale leaves in the middle; ``gain`` the mean of what it leaves more, ``left`` the same less the cost, and
    ``pays`` the share of draws in which that is above nought (null without a cost); ``pairs`` and
    ``supported`` say whether before and after speak for it.
    """
    by_change = {one.change: one for one in compared}
    fixed = {name: np.full(1, float(cost)) for name, cost in papers.items()}
    before = net(draws.price)
    rows = [
        _row(name, "paper", by_change.get(name), fixed.get(name), before, net(after))
        for name, after in _with_papers(model, draws)
    ]
    if costs is not None:
        rows += [
            _row(title, "repair", by_change.get("repair"), cost * rate, before, net(after))
            for title, cost, after in _repaired(draws, costs)
        ]
    return pl.DataFrame(rows, schema=COLUMNS, orient="row").sort(
        pl.col("left").fill_null(pl.col("gain")), descending=True, maintain_order=True
    )


def _with_papers(model: GivesDistributions, draws: CarDraws) -> list[tuple[str, Floats]]:
    """Prices with each paper that the car is not known to have, at the levels of ``draws``."""
    lacking = [
        (name, change)
        for name, change in PAPERS
        if all(getattr(draws.car, key) in (None, False, "claimed") for key in change)
    ]
    if not lacking:
        return []
    cars = [draws.car, *(replace(draws.car, **change) for _, change in lacking)]
    prices = model.distribution(pl.concat([car.frame(draws.at) for car in cars])).ppf(draws.level)
    return [
        (name, draws.price * after / prices[0]) for (name, _), after in zip(lacking, prices[1:], strict=True)
    ]


def _repaired(draws: CarDraws, costs: RepairCosts) -> list[tuple[str, Floats, Floats]]:
    """Title, cost and price after of the repairs that hold the score down most, each by itself."""
    result = costs.result
    repaired = []
    for check, title in result.holding.head(MOST_ITEMS).select("check", "title").iter_rows():
        mask = np.zeros(result.states.shape, dtype=np.bool_)
        mask[:, result.items.ids.index(check)] = True
        cost = costs.total(mask)
        if cost.max() > 0.0:
            repaired.append((str(title), cost, draws.mended(mask)))
    return repaired


def _row(
    item: str,
    kind: str,
    compared: BeforeAndAfter | None,
    cost: Floats | None,
    before: Floats,
    after: Floats,
) -> tuple[Any, ...]:
    gain = after - before
    ends = [None] * 3 if cost is None else quantiles(cost).tolist()
    spare = None if cost is None else gain - cost
    return (
        item, kind, *ends, float(quantiles(before, 0.5)), float(quantiles(after, 0.5)), float(gain.mean()),
        None if spare is None else float(spare.mean()),
        None if spare is None else float((spare > 0.0).mean()),
        0 if compared is None else compared.pairs, compared is not None and compared.supported,
    )  # fmt: skip
