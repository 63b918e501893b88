"""What is worth doing before a sale: each repair or missing paper, its cost beside what it does to the
price."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.car import Car, frame_of
from pricing.condition.repairs import RepairCosts
from pricing.decisions.price_by_score import GivesDistributions, PriceByScore

ENDS: Final = (0.1, 0.5, 0.9)
"""Levels of the range before and after."""

MOST_ITEMS: Final = 12
"""Repairs looked at: those that would give back the most points of score."""

PAPERS: Final[tuple[tuple[str, dict[str, Any]], ...]] = (
    ("history file", {"history_file": True}),
    ("numbers documented", {"matching_numbers": "documented"}),
)
"""Papers that a car may lack, and what they would let one say."""

COLUMNS: Final = {
    "item": pl.String, "kind": pl.String, "cost": pl.Float64, "mid_before": pl.Float64, "mid_after":
    pl.Float64, "gain": pl.Float64, "low_change": pl.Float64, "high_change": pl.Float64, "answer": pl.String,
}  # fmt: skip


def worth_doing(
    model: GivesDistributions,
    car: Car,
    at: date,
    costs: RepairCosts | None = None,
    papers: Mapping[str, Decimal] | None = None,
) -> pl.DataFrame:
    """One row an item, what gains most beyond its cost first (``COLUMNS``), in the model's currency.

    ``cost`` is the expected cost of a repair by itself, or what was said of a paper (null: not said, and
    then no answer); ``gain`` the change of the mid price, ``low_change`` and ``high_change`` those of the
    ends of the 80 % range. The answer is "do it" where the gain exceeds the cost, else "leave it".
    """
    rows = _papers(model, car, at, {} if papers is None else papers)
    if costs is not None:
        rows += _repairs(model, car, at, costs)
    frame = pl.DataFrame(rows, schema=COLUMNS)
    answer = pl.when(pl.col("cost").is_null()).then(pl.lit("cost not said"))
    return frame.with_columns(
        answer=answer.when(pl.col("gain") > pl.col("cost"))
        .then(pl.lit("do it"))
        .otherwise(pl.lit("leave it"))
    ).sort(pl.col("gain") - pl.col("cost").fill_null(0.0), descending=True)


def _papers(
    model: GivesDistributions, car: Car, at: date, said: Mapping[str, Decimal]
) -> list[dict[str, Any]]:
    """Papers that the car is not known to have, priced with and without in one question."""
    lacking = [
        (name, change)
        for name, change in PAPERS
        if all(getattr(car, key) in (None, False, "claimed") for key in change)
    ]
    if not lacking:
        return []
    cars = frame_of([car, *(replace(car, **change) for _, change in lacking)], at)
    prices = model.distribution(cars).ppf(ENDS)
    return [
        _row(name, "paper", None if name not in said else float(said[name]), prices[0], after)
        for (name, _), after in zip(lacking, prices[1:], strict=True)
    ]


def _repairs(model: GivesDistributions, car: Car, at: date, costs: RepairCosts) -> list[dict[str, Any]]:
    """The findings that hold the score down most, each made sound by itself in every draw."""
    result, rule = costs.result, costs.result.rule
    prices = PriceByScore.ask(model, car.frame(at))
    before = prices.mixture(result.draws).ppf(ENDS)[0]
    wear, load = (part(result.states, rule) for part in (result.items.wear, result.items.load))
    clean = rule.score(wear.sum(axis=1), load.sum(axis=1))
    rows = []
    for check, title in result.holding.head(MOST_ITEMS).select("check", "title").iter_rows():
        item = result.items.ids.index(check)
        lifted = rule.score(wear.sum(axis=1) - wear[:, item], load.sum(axis=1) - load[:, item]) - clean
        after = prices.mixture(np.clip(result.draws + lifted, 0.0, 100.0)).ppf(ENDS)[0]
        cost = float(costs.expected_by_state()[item, result.items.states[item]])
        rows.append(_row(title, "repair", cost if np.isfinite(cost) else None, before, after))
    return rows


def _row(item: str, kind: str, cost: float | None, before: Any, after: Any) -> dict[str, Any]:
    low, mid, high = (np.asarray(after) - np.asarray(before)).tolist()
    return {
        "item": item, "kind": kind, "cost": cost, "mid_before": float(before[1]), "mid_after":
        float(after[1]), "gain": mid, "low_change": low, "high_change": high, "answer": None,
    }  # fmt: skip
