"""What to ask for a car privately or at a dealer, and how to come down: the plan that leaves most."""

from dataclasses import dataclass, field
from decimal import Decimal

import polars as pl

from pricing.arrays import Floats
from pricing.decisions.amounts import said
from pricing.decisions.sell.channel_sale import SaleDraws, by_asking
from pricing.decisions.sell.proceeds import SaleTerms
from pricing.decisions.sell.seller_terms import SellerTerms
from pricing.decisions.sell.selling_evidence import SellingEvidence
from pricing.decisions.sell.waiting import LADDER_WEEKS, STEPS, WEEKS, ladder

LAST_STEP = 0.9
"""Of the mid price: what is asked in the end where no lowest price is said."""


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
    customary = said(Decimal(repr(mid * (1.0 if gap is None else max(gap, 1.0)))))
    floor = LAST_STEP * mid if terms.floor is None else float(terms.floor)
    tried = {customary, *(said(Decimal(repr(mid * step))) for step in STEPS)}
    if terms.floor is not None:
        tried = {ask for ask in tried if ask >= terms.floor} | {terms.floor}
        customary = max(customary, terms.floor)
    asks = sorted(tried | ({terms.asking} if terms.asking is not None else set()))

    def sale(ask: Decimal) -> SaleDraws:
        return by_asking(
            value, wait, ladder(float(ask), floor), mid, channel, evidence.times, evidence.bargained, charges,
            terms,
        )  # fmt: skip

    sales = {ask: sale(ask) for ask in asks}
    if evidence.price_tells:
        best = max(sorted(tried), key=lambda ask: float(sales[ask].left.mean()))
    else:
        best = customary
    asking = best if terms.asking is None else terms.asking
    chosen, told = sales[asking], evidence.times is not None
    steps = ladder(float(asking), floor)
    return AskingPlan(
        asking,
        best,
        prices=pl.DataFrame([_prices(ask, draws, told=told) for ask, draws in sales.items()], schema=_PRICES),
        ladder=pl.DataFrame(
            {
                "week": [LADDER_WEEKS * step for step in range(len(steps))],
                "asking": steps,
                "sold_by_then": [
                    chosen.chance(LADDER_WEEKS * (step + 1)) if told else None for step in range(len(steps))
                ],
            },
            schema_overrides={"sold_by_then": pl.Float64},
        ),
        draws=chosen,
    )


_PRICES = dict.fromkeys(("asking", *(f"within_{weeks}" for weeks in WEEKS), "weeks", "left"), pl.Float64)


def _prices(ask: Decimal, draws: SaleDraws, *, told: bool) -> dict[str, float | None]:
    return {
        "asking": float(ask),
        **{f"within_{weeks}": draws.chance(weeks) if told else None for weeks in WEEKS},
        "weeks": draws.half if told else None,
        "left": float(draws.left.mean()),
    }
