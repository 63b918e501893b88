"""Mend this car, or pay more for a better one?

For each condition band above the car's own: what the car costs now, what it takes to get it there, what it
would then be worth, and what a car that is there already costs today. All of it is drawn together, so ranges
meet ranges.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl
from scipy.special import ndtr

from pricing.arrays import Floats
from pricing.condition.repairs import Mask, RepairCosts
from pricing.decisions.price_by_score import GivesDistributions, PriceByScore
from pricing.errors import DecisionError
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

ALIKE: Final = 0.5
"""Correlation of the normal scores of this car's price and of the better car's: they share the market and the
model, not the buyer's luck. An assumption, not an estimate."""

LEAVE_IT_CHANCE: Final = 0.2
"""Beyond the price at which mending ends cheaper only this often, the answer is to leave the car."""


@dataclass(frozen=True, eq=False)
class MendOrBuy:
    """The comparison, one row a higher band in ``bands``.

    Columns of ``bands``, money in ``currency`` with all charges and taxes in: band; reached (share of draws
    in which the repairs get the car to the middle of the band); price_now_, budget_, price_then_ and
    better_car_ each with ``low``, ``mid``, ``high`` (P10, P50, P90); chance_cheaper (that price now and
    budget stay below the price of the better car); expected_difference (price now and budget less the better
    car: positive means mending costs more); highest_price (paid now, mending and buying better are even odds;
    below nought: not even as a gift); leave_it_above (paid more than that, mending ends cheaper less than
    once in five); answer.
    """

    bands: pl.DataFrame
    asking: Decimal | None
    currency: str
    band_now: str
    notice: str
    cautions: tuple[str, ...]


def mend_or_buy(
    model: GivesDistributions,
    costs: RepairCosts,
    *,
    asking: Decimal | None = None,
    as_of: date | None = None,
    alike: float = ALIKE,
    seed: int = 0,
) -> MendOrBuy:
    """Compare mending the inspected car with buying one that is in a higher band already.

    ``costs`` must be in the currency of the model's prices. ``asking`` is what the car costs now, all-in;
    None takes its market price, as uncertain as it is. Repairs aim at the middle of a band, the typical car
    the money would otherwise buy: in each draw the structure first while it caps the car, then what gives
    most score for the money. A car that is in the highest band
    already has no row: there is nothing above it to buy. Raises ``DecisionError`` for a negative asking
    price.
    """
    if asking is not None and not (asking.is_finite() and asking >= 0):
        raise DecisionError(f"the asking price must not be negative, got {asking}")
    if not 0 <= alike < 1:
        raise DecisionError(f"alike must be at least 0 and below 1, got {alike}")
    result = costs.result
    now = CONDITION_BANDS.index(result.band)
    prices = PriceByScore.ask(model, result.inspection.car_frame(), as_of)
    rng = np.random.default_rng([seed, 3])
    own, other = rng.standard_normal((2, len(result.draws)))
    this_car, better_car = ndtr(own), ndtr(alike * own + np.sqrt(1.0 - alike**2) * other)
    market_now = prices.draw(result.draws, this_car)
    price_now = market_now if asking is None else np.full(len(result.draws), float(asking))
    judgement = result.draws - result.rule.score(*_sums(costs))
    rows = []
    for band in range(now + 1, len(CONDITION_BANDS)):
        target = (BAND_EDGES[band] + BAND_EDGES[band + 1]) / 2
        mended, score = plan(costs, target)
        budget = costs.total(mended)
        then = prices.draw(np.clip(score + judgement, 0.0, 100.0), this_car)
        better = prices.draw_in_band(band, better_car)
        chance = float((price_now + budget < better).mean())
        spare = better - budget
        rows.append(
            {
                "band": CONDITION_BANDS[band],
                "reached": float((score >= target - 1e-9).mean()),
                **_range("price_now", price_now),
                **_range("budget", budget),
                **_range("price_then", then),
                **_range("better_car", better),
                "chance_cheaper": chance,
                "expected_difference": float((price_now + budget - better).mean()),
                "expected_gain": float((then - price_now - budget).mean()),
                "highest_price": float(np.quantile(spare, 0.5)),
                "leave_it_above": float(np.quantile(spare, 1.0 - LEAVE_IT_CHANCE)),
                "answer": _answer(chance),
            }
        )
    return MendOrBuy(
        bands=pl.DataFrame(rows, schema=_COLUMNS),
        asking=asking,
        currency=costs.currency,
        band_now=result.band,
        notice=costs.catalogue.notice,
        cautions=result.inspection.sheet.general_cautions,
    )


_COLUMNS: Final = {
    "band": pl.String,
    "reached": pl.Float64,
    **{
        f"{name}_{end}": pl.Float64
        for name in ("price_now", "budget", "price_then", "better_car")
        for end in ("low", "mid", "high")
    },
    "chance_cheaper": pl.Float64,
    "expected_difference": pl.Float64,
    "expected_gain": pl.Float64,
    "highest_price": pl.Float64,
    "leave_it_above": pl.Float64,
    "answer": pl.String,
}


def plan(costs: RepairCosts, target: float) -> tuple[Mask, Floats]:
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


def _cheapest(amount: Floats, cost: Floats, needed: Floats) -> Mask:
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


def _sums(costs: RepairCosts) -> tuple[Floats, Floats]:
    """Wear and structural load of every draw."""
    items, states, rule = costs.result.items, costs.result.states, costs.result.rule
    return items.wear(states, rule).sum(axis=1), items.load(states, rule).sum(axis=1)


def _range(name: str, draws: Floats) -> dict[str, float]:
    """P10, P50 and P90 of draws, as columns."""
    return dict(
        zip(
            (f"{name}_low", f"{name}_mid", f"{name}_high"),
            np.quantile(draws, [0.1, 0.5, 0.9]).tolist(),
            strict=True,
        )
    )


def _answer(chance: float) -> str:
    """The chance that mending ends cheaper, in words."""
    if chance < LEAVE_IT_CHANCE:
        return "leave it"
    if chance < 0.4:
        return "buy the better car"
    return "too close to call" if chance < 0.6 else "mend"
