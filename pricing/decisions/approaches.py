"""Two approaches to one price: how far the comparable sales and the price model are apart, and by what."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import polars as pl

from pricing.car import Car
from pricing.decisions.valuation import FittedModel, HasSales, Valuation, value_car
from pricing.evidence.comparison.adjustments import DATE
from pricing.evidence.comparison.comparables import Comparables

THIN = 0.25
"""Gross adjustment, as a share of the price, beyond which comparables are said to be unlike the car: the rule
of thumb of comparable-sales guides."""


@dataclass(frozen=True)
class Difference:
    """The mid of the comparables against the model's.

    Args:
        ratio: comparables' mid over the model's.
        share_of_range: how far it lies from the model's mid, as a share of the way to the end of the model's
            range on that side (negative: below); beyond 1 the range does not hold it.
        comparables: how many; ``gross`` (their adjustments' size, weighted, as a share of the price) is the
            measure of their likeness, ``unlike`` whether it is beyond ``THIN``.
        of_other_models: share of the weight from other models than the car's.
        date_move: what the market's index moved their prices by (weighted, as a share).
        graded: whether the car's condition is known.
        evidence: how deep the model's evidence is.
    """

    ratio: float
    share_of_range: float
    comparables: int
    gross: float
    unlike: bool
    of_other_models: float
    date_move: float
    graded: bool
    evidence: str


def valued_beside(
    market: HasSales, model: FittedModel, car: Car, comparables: Comparables, coverage: float = 0.8
) -> Valuation:
    """The model's value of the car that comparables were found for, at their date; at the model's last event
    where that is later, for comparables end with a sale and a model may have seen an offer after it."""
    last = date.fromisoformat(model.facts["last_date"])
    return value_car(market, model, car, as_of=max(comparables.as_of, last), coverage=coverage)


def difference(valuation: Valuation, comparables: Comparables) -> Difference | None:
    """How far the two approaches are apart; None where the model gives no range.

    Both must be of the same car at the same date.
    """
    low, mid, high = valuation.low, valuation.mid, valuation.high
    if low is None or mid is None or high is None:
        return None
    own = comparables.table.select("record_id", "weight", "gross_per_cent", "match_level")
    dated = comparables.lines.filter(pl.col("line") == DATE).select("record_id", "per_cent")
    lines = own.join(dated, on="record_id", how="left")
    gross, moved, other = lines.select(
        (pl.col("weight") * pl.col("gross_per_cent")).sum() / 100.0,
        date=(pl.col("weight") * pl.col("per_cent").fill_null(0.0)).sum() / 100.0,
        other=pl.col("weight").filter(pl.col("match_level").is_in(["same make", "other make"])).sum(),
    ).row(0)
    reach = high - mid if comparables.mid >= mid else mid - low
    subject = comparables.subject.row(0, named=True)
    return Difference(
        ratio=float(comparables.mid / mid),
        share_of_range=float((comparables.mid - mid) / reach) if reach > Decimal(0) else 0.0,
        comparables=comparables.table.height,
        gross=float(gross),
        unlike=bool(gross > THIN),
        of_other_models=float(other),
        date_move=float(moved),
        graded=subject["condition_band"] is not None or subject["condition_score"] is not None,
        evidence=valuation.evidence,
    )
