"""Mend this car, or pay more for a better one?

For all that was found, and for each condition band above the car's own: what the car costs now, what it takes
to get it there, what it would then be worth, and what a car that is there already costs today. All of it is
read from one simulation, so ranges meet ranges.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Bools, Floats
from pricing.condition.checks import bad_state
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import quantiles
from pricing.decisions.simulation import CarDraws
from pricing.errors import DecisionError
from pricing.records.entered_amounts import entered
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

LEAVE_IT_CHANCE: Final = 0.2
"""Beyond the price at which mending ends cheaper only this often, the answer is to leave the car."""

FEWEST_SEEN: Final = 0.25
"""Share of what counts that must have been seen before an answer is given: a car of which nothing was seen
is any car."""

LOOK_FIRST: Final = "look first"

EVERYTHING: Final = "everything"
"""Goal: all that is at least as bad as was said is put right."""


@dataclass(frozen=True, eq=False)
class MendOrBuy:
    """The comparison, one row a goal in ``goals``: ``EVERYTHING`` first, then each higher band.

    Columns of ``goals``, money in ``currency`` with all charges and taxes in: goal; reached (share of draws
    in which the repairs get the car to the middle of the band; 1 for everything); price_now_, budget_,
    price_then_ and better_car_ each with ``low``, ``mid``, ``high`` (P10, P50, P90); chance_cheaper (that
    price now and budget stay below the price of the better car); loses (that they exceed what the car is
    then worth itself); as_a_gift (that the budget alone exceeds the better car); expected_difference (price
    now and budget less the better car: positive means mending costs more); highest_price (paid now, mending
    and buying better are even odds; below nought: not even as a gift); leave_it_above (paid more than that,
    mending ends cheaper less than once in five); answer.

    ``least`` is the state from which everything is put right, ``seen`` the share of what counts that was
    seen.
    """

    goals: pl.DataFrame
    asking: Decimal | None
    currency: str
    band_now: str
    least: str
    seen: float
    notice: str
    cautions: tuple[str, ...]
    seed: int


def mend_or_buy(
    draws: CarDraws,
    costs: RepairCosts,
    *,
    asking: Decimal | None = None,
    least: str = "needs repair",
    seed: int = 0,
) -> MendOrBuy:
    """Compare mending the inspected car with buying one that is there already.

    Args:
        draws: the car, of the inspection that the costs are of.
        costs: in the currency of the model's prices.
        asking: what the car costs now, all-in; None takes its market price, as uncertain as it is.
        least: one of ``STATES``: what is put right for the goal of everything.

    Repairs aim at the middle of a band, the typical car the money would otherwise buy: in each draw the
    structure first while it caps the car, then what gives most score for the catalogue's price.

    Raises:
        DecisionError: no range can be given for the car.
        MoneyError: the asking price cannot be meant.
    """
    entered("asking price", asking, costs.currency)
    worst = bad_state(least)
    if draws.law.reason[0] is not None:
        raise DecisionError(f"no range can be given, and so no comparison: {draws.law.reason[0]}")
    result = costs.result
    now = CONDITION_BANDS.index(result.band)
    seen = result.inspection.seen_share
    price_now = draws.price if asking is None else np.full(len(draws.price), float(asking))
    everything = result.states >= worst
    rows = [
        _row(EVERYTHING, np.ones(1, dtype=np.bool_), price_now, costs.total(everything),
             draws.mended(everything), draws.another(everything), seen)
    ]  # fmt: skip
    for band in range(now + 1, len(CONDITION_BANDS)):
        target = (BAND_EDGES[band] + BAND_EDGES[band + 1]) / 2
        mended, score = plan(costs, target)
        rows.append(
            _row(CONDITION_BANDS[band], score >= target - 1e-9, price_now, costs.total(mended),
                 draws.mended(mended), draws.another_in_band(band), seen)
        )  # fmt: skip
    return MendOrBuy(
        goals=pl.DataFrame(rows, schema=_COLUMNS),
        asking=asking,
        currency=costs.currency,
        band_now=result.band,
        least=least,
        seen=seen,
        notice=costs.catalogue.notice,
        cautions=result.inspection.sheet.general_cautions,
        seed=seed,
    )


_PARTS: Final = ("price_now", "budget", "price_then", "better_car")
_COLUMNS: Final = {
    "goal": pl.String,
    "reached": pl.Float64,
    **{f"{name}_{end}": pl.Float64 for name in _PARTS for end in ("low", "mid", "high")},
    **dict.fromkeys(
        ("chance_cheaper", "loses", "as_a_gift", "expected_difference", "highest_price", "leave_it_above"),
        pl.Float64,
    ),
    "answer": pl.String,
}  # fmt: skip


def _row(
    goal: str, reached: Bools, now: Floats, budget: Floats, then: Floats, better: Floats, seen: float
) -> dict[str, object]:
    chance, spare = float((now + budget < better).mean()), better - budget
    limits = ((LEAVE_IT_CHANCE, "leave it"), (0.4, "buy the better car"), (0.6, "too close to call"))
    answer = next((word for limit, word in limits if chance < limit), "mend")
    ranges = {
        f"{name}_{end}": value
        for name, part in zip(_PARTS, (now, budget, then, better), strict=True)
        for end, value in zip(("low", "mid", "high"), quantiles(part).tolist(), strict=True)
    }
    return {
        "goal": goal,
        "reached": float(reached.mean()),
        **ranges,
        "chance_cheaper": chance,
        "loses": float((now + budget > then).mean()),
        "as_a_gift": float((budget > better).mean()),
        "expected_difference": float((now + budget - better).mean()),
        "highest_price": float(quantiles(spare, 0.5)),
        "leave_it_above": float(quantiles(spare, 1.0 - LEAVE_IT_CHANCE)),
        "answer": LOOK_FIRST if seen < FEWEST_SEEN else answer,
    }


def plan(costs: RepairCosts, target: float) -> tuple[Bools, Floats]:
    """What is put right in each draw so that the score reaches ``target``, and the score then.

    A score is reached when both its terms reach it, so first the structure is mended until it allows the
    target, then whatever else until wear does, each time what gives most for its expected cost. What no job
    leads to is left. Returns a mask of shape (draws, items) and scores of shape (draws,), which stay below
    the target where it is out of reach.
    """
    result, rule, items = costs.result, costs.result.rule, costs.result.items
    wear, load = items.wear(result.states, rule), items.load(result.states, rule)
    cost = costs.expected_by_state()[np.arange(len(items.ids)), result.states]
    most_wear, most_load = rule.allowed(target)
    mended = _cheapest(load, cost, load.sum(axis=1) - most_load)
    left = np.where(mended, 0.0, wear)
    mended |= _cheapest(left, cost, left.sum(axis=1) - most_wear)
    sound = np.where(mended, 0.0, wear).sum(axis=1), np.where(mended, 0.0, load).sum(axis=1)
    return mended, rule.score(*sound)


def _cheapest(amount: Floats, cost: Floats, needed: Floats) -> Bools:
    """Items taken in each draw, most ``amount`` for its ``cost`` first, until their amounts reach
    ``needed``."""
    takeable = (amount > 0) & np.isfinite(cost)
    worth = np.where(takeable, amount / np.where(takeable & (cost > 0), cost, 1e-9), -1.0)
    order = np.argsort(-worth, axis=1, kind="stable")
    sorted_amount = np.take_along_axis(np.where(takeable, amount, 0.0), order, axis=1)
    before = np.cumsum(sorted_amount, axis=1) - sorted_amount
    taken = np.zeros(amount.shape, dtype=np.bool_)
    np.put_along_axis(taken, order, before < needed[:, None] - 1e-9, axis=1)
    return taken & takeable
