"""What to say to a seller and what to ask: what the records and the inspection hold that speaks for a lower
price, and what of the car was not seen, not said, not reckoned."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import polars as pl

from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.condition.checks import found_words
from pricing.decisions.amounts import Range
from pricing.decisions.gap import Gap

YEARS: Final = 2
"""Sales no older than this are spoken of."""

FEWEST: Final = 5
"""Sales or lots that a count needs to be said."""

MOST: Final = 3


@dataclass(frozen=True)
class Argument:
    """One thing to say, of a ``kind``:

    - ``repairs``: putting right what was found costs ``amount`` to ``most``, with a share ``share`` of what
      counts seen.
    - ``like sales``: ``count`` of ``of`` sales of this model in its condition band brought less than the
      ``amount`` asked; ``model sales``: of this model in any band.
    - ``gap``: what is asked on this channel stands ``share`` over what cars sell for: ``amount`` it comes to.
    - ``unsold``: ``count`` of ``of`` lots of this model found no buyer.

    Amounts are in ``currency``; ``since`` is the day from which sales are counted.
    """

    kind: str
    currency: str
    count: int | None = None
    of: int | None = None
    amount: Decimal | None = None
    most: Decimal | None = None
    share: float | None = None
    since: date | None = None


def arguments(
    sales: pl.DataFrame,
    car: Car,
    at: date,
    asking: Decimal | None,
    base: str,
    *,
    gap: Gap | None = None,
    after_gap: Decimal | None = None,
    repairs: Range | None = None,
    seen: float | None = None,
    currency: str,
) -> tuple[Argument, ...]:
    """At most ``MOST``, the weightiest first: what was found of this car, then what cars like it brought.

    Args:
        sales: those of the market; ``asking`` is all-in, in its ``base`` currency.
        after_gap: what the price asked usually comes down to; ``repairs`` what those found cost, both in
            ``currency``, that of the offer.
    """
    reasons = []
    if repairs is not None and repairs.high > 0:
        reasons.append(Argument("repairs", currency, amount=repairs.low, most=repairs.high, share=seen))
    since = date(at.year - YEARS, at.month, min(at.day, 28))
    of_model = sales.filter(
        pl.col("make") == car.make,
        pl.col("model") == car.model,
        pl.col("event_date").is_between(since, at),
    )
    if asking is not None:
        reasons += _cheaper(of_model.filter(pl.col("outcome") == "sold"), car, asking, base, since)
    if gap is not None and after_gap is not None and gap.low > 1.0:
        reasons.append(Argument("gap", currency, amount=after_gap, share=gap.factor - 1.0))
    lots = of_model.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))
    unsold = int((lots["outcome"] == "unsold").sum())
    if lots.height >= FEWEST and unsold:
        reasons.append(Argument("unsold", base, count=unsold, of=lots.height, since=since))
    return tuple(reasons[:MOST])


def _cheaper(sold: pl.DataFrame, car: Car, asking: Decimal, base: str, since: date) -> list[Argument]:
    """That most of those like this one brought less, where that is so."""
    alike = sold.filter(pl.col("condition_band") == pl.lit(car.condition_band, dtype=pl.String))
    kind, counted = ("like sales", alike) if alike.height >= FEWEST else ("model sales", sold)
    less = int((counted["price"].cast(pl.Float64) < float(asking)).sum())
    if counted.height < FEWEST or 2 * less <= counted.height:
        return []
    return [Argument(kind, base, count=less, of=counted.height, amount=asking, since=since)]


MOST_UNSEEN: Final = 5
"""Checks named that were not seen: those that could move the score most."""

_SAID: Final = {
    "condition_band": "In what condition is it? It has not been graded: have it inspected.",
    "chassis_number": "Which chassis number do car and papers bear, and do they agree?",
    "odometer_km": "How far has it gone, and what shows that?",
    "matching_numbers": "Do engine and chassis belong together, and who has seen it?",
    "history_file": "Which papers tell its past: bills, tests, owners?",
}


def buyer_questions(
    car: Car, inspection: InspectionResult | None, open_lines: Sequence[str]
) -> tuple[str, ...]:
    """Questions to settle before money changes hands, the weightiest first."""
    questions = []
    if inspection is not None:
        for title, points in inspection.look_next.head(MOST_UNSEEN).select("title", "points").iter_rows():
            matters = f" ({points:.0f} points of score between best and worst)" if points >= 1 else ""
            questions.append(f"Not seen yet: {title}{matters}.")
        questions += [
            f"To settle: {row['title']}: {found_words('papers', row['state'])}."
            for row in inspection.papers.filter(pl.col("state") != "not seen").iter_rows(named=True)
        ]
    questions += [question for name, question in _SAID.items() if getattr(car, name) is None]
    if open_lines:
        questions.append(
            f"What will it cost: {', '.join(open_lines)}? Nothing was said of it, and nothing is counted."
        )
    return tuple(questions)
