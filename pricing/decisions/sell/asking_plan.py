"""Asking privately or at a dealer, draw by draw: what is asked week by week, when a buyer comes, what is
paid, and the plan that leaves most.

The best buyer pays ``V``, the price model's draw on that channel, and never more than is asked. A buyer comes
at a time drawn from the law of the records (``time_to_sale``), and not before what is asked has come within
bargaining of ``V``: nine sales in ten were made within ``bargained`` of what was asked. A lowest price is
kept to like a reserve. So in no draw does a dearer price sell sooner, or a lower price leave more unsold.
"""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.decisions.amounts import three_figures
from pricing.decisions.sell.channel_sale import HORIZON, SaleDraws, worth_now
from pricing.decisions.sell.seller_terms import SaleTerms, SellerTerms
from pricing.decisions.sell.selling_evidence import SellingEvidence
from pricing.decisions.sell.time_to_sale import TimeToSale
from pricing.money.charge_draws import in_units

WEEKS: Final = (4, 8, 12)

LADDER_WEEKS: Final = 4
"""Weeks between reductions: a listing is read in its first weeks (common practice, no source)."""

STEPS: Final = (0.85, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.3)
"""Asking prices looked at, against the mid price."""

LAST_STEP: Final = 0.9
"""Of the mid price: what is asked in the end where no lowest price is said."""


def ladder(start: float, floor: float) -> Floats:
    """What is asked in each of three steps of ``LADDER_WEEKS`` weeks, in equal ratios; the last one stands.

    >>> ladder(10000.0, 8100.0).round().tolist()
    [10000.0, 9000.0, 8100.0]
    """
    return np.geomspace(start, min(floor, start), len(WEEKS))


def private_sale(
    value: Floats,
    wait: Floats,
    asks: Floats,
    mid: float,
    times: TimeToSale | None,
    channel: str,
    *,
    bargained: float,
    lowest: float = 0.0,
) -> tuple[Floats, Floats]:
    """The sale of a car that the best buyer pays ``value`` for, all-in, in each draw: what is paid, and the
    weeks until then, infinite where no buyer ever pays enough, and counted from the first step where the
    records do not tell the wait.

    Args:
        wait: levels of the time until a buyer comes.
        asks: what is asked in each step, falling.
        mid: what such cars sell for in the middle, which the law of waiting is held against.
        lowest: the least that is taken.
    """
    steps = len(asks)
    days = 7.0 * LADDER_WEEKS
    if times is None:
        came = np.zeros(len(value))
    else:
        with np.errstate(divide="ignore"):
            pace = np.exp(-times.elasticity * np.log(asks / mid))
        clock = times.days(channel, 0.0, wait)
        ends = np.cumsum(pace[:-1] * days)
        step = np.searchsorted(ends, clock)
        begun = np.concatenate([[0.0], ends])[step]
        came = days * step + (clock - begun) / pace[step]
    within = np.maximum(asks / bargained, lowest)
    first = np.searchsorted(-within, -value)  # the first step within bargaining of the value
    weeks = np.maximum(came, days * first) / 7.0
    last = np.minimum(weeks / LADDER_WEEKS, steps - 1).astype(np.intp)
    return np.minimum(value, asks[last]), np.where(first == steps, np.inf, weeks)


def by_asking(
    value: Floats,
    wait: Floats,
    asks: Floats,
    mid: float,
    channel: str,
    times: TimeToSale | None,
    bargained: float,
    charges: SaleTerms,
    terms: SellerTerms,
) -> SaleDraws:
    """Asked privately or at a dealer, ``asks`` a step of some weeks each; see ``private_sale``."""
    lowest = 0.0 if terms.floor is None else float(terms.floor)
    paid, weeks = private_sale(value, wait, asks, mid, times, channel, bargained=bargained, lowest=lowest)
    sold = np.isfinite(weeks)
    charged = charges.charged(in_units(np.where(sold, paid, value), charges.currency))
    left = worth_now(terms, np.where(sold, weeks, 2.0 * HORIZON)) * charged.net
    if terms.own_value is not None:
        if_kept = worth_now(terms, HORIZON) * float(terms.own_value) - charged.entry_fee
        left = np.where(weeks <= HORIZON, left, if_kept)
    return SaleDraws(charged, weeks, left)


@dataclass(frozen=True, eq=False)
class AskingPlan:
    """Amounts in the seller's currency.

    Args:
        asking: what to ask at first: stated, else ``best``.
        best: of the prices looked at the one that leaves most, where the records show that a dearer car
            stands longer; else what is customary on the channel.
        prices: ``asking``, ``within_4``, ``within_8``, ``within_12`` (chance of a sale within so many
            weeks), ``weeks`` (until half of the sales) and ``left`` (mean, brought to today); chances and
            weeks are null where the records do not tell the wait.
        ladder: ``week`` from which on so much is asked, ``asking``, and ``sold_by_then`` (chance of a sale
            before the next step).
    """

    asking: Decimal
    best: Decimal
    prices: pl.DataFrame
    ladder: pl.DataFrame
    draws: SaleDraws = field(repr=False)


def asking_plan(
    channel: str,
    value: Floats,
    mid: float,
    wait: Floats,
    gap: float | None,
    evidence: SellingEvidence,
    charges: SaleTerms,
    terms: SellerTerms,
) -> AskingPlan:
    """Plan a sale by asking.

    Args:
        value: what the best buyer pays all-in in each draw, in the seller's currency; ``mid`` its middle.
        wait: levels of the time until a buyer comes.
        gap: what is asked on the channel over what cars sell for; None: not known.
    """
    customary = three_figures(Decimal(repr(mid * (1.0 if gap is None else max(gap, 1.0)))))
    floor = LAST_STEP * mid if terms.floor is None else float(terms.floor)
    tried = {customary, *(three_figures(Decimal(repr(mid * step))) for step in STEPS)}
    if terms.floor is not None:
        tried = {ask for ask in tried if ask >= terms.floor} | {terms.floor}
        customary = max(customary, terms.floor)
    stated = set() if terms.asking is None else {terms.asking}

    ladders = {ask: ladder(float(ask), floor) for ask in sorted(tried | stated)}
    sales = {
        ask: by_asking(value, wait, steps, mid, channel, evidence.times, evidence.bargained, charges, terms)
        for ask, steps in ladders.items()
    }
    best = customary
    if evidence.price_tells:
        best = max(sorted(tried), key=lambda ask: float(sales[ask].left.mean()))
    asking = best if terms.asking is None else terms.asking
    chosen, known = sales[asking], evidence.times is not None
    columns = "asking", *(f"within_{weeks}" for weeks in WEEKS), "weeks", "left"
    unknown = (None,) * (len(WEEKS) + 1)
    return AskingPlan(
        asking,
        best,
        prices=pl.DataFrame(
            [
                (float(ask), *((*map(draws.chance, WEEKS), draws.half) if known else unknown),
                 float(draws.left.mean()))
                for ask, draws in sales.items()
            ],
            dict.fromkeys(columns, pl.Float64), orient="row",
        ),
        ladder=pl.DataFrame(
            [
                (LADDER_WEEKS * step, ask, chosen.chance(LADDER_WEEKS * (step + 1)) if known else None)
                for step, ask in enumerate(ladders[asking])
            ],
            {"week": pl.Int64, "asking": pl.Float64, "sold_by_then": pl.Float64}, orient="row",
        ),
        draws=chosen,
    )  # fmt: skip
