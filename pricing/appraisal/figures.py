"""The valuer's figure, and prices of the evidence at the record's market level and in its currency.

Evidence is all-in, in the market's base currency. The hammer price is the part of an all-in price before the
buyer's premium, price / (1 + premium). A figure under a premise that recorded sales were not made under is
the price times 1 + the stated difference.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import polars as pl

from pricing.appraisal.evidence import Evidence
from pricing.appraisal.record.record import Appraisal
from pricing.decisions.valuation import Valuation
from pricing.evidence.comparison.comparables import Comparables


def opinion_of(record: Appraisal) -> tuple[Decimal, Decimal] | None:
    """The valuer's low and high, equal for a single figure; None while neither is given.

    >>> from pricing.appraisal.record.record import read_record
    >>> opinion_of(read_record({"opinion": {"figure": 4600}}))
    (Decimal('4600'), Decimal('4600'))
    """
    opinion = record.opinion
    if opinion.figure is not None:
        return opinion.figure, opinion.figure
    return None if opinion.low is None or opinion.high is None else (opinion.low, opinion.high)


def premium_of(record: Appraisal) -> Decimal:
    """The buyer's premium as a share of the hammer price, nought at every other level.

    >>> premium_of(Appraisal())
    Decimal('0')
    """
    per_cent = record.assignment.premium_per_cent
    hammer = record.assignment.market_level == "auction hammer"
    return Decimal(0) if per_cent is None or not hammer else per_cent / 100


def premise_of(record: Appraisal) -> Decimal:
    """What a figure under the record's premise differs by from sales as recorded, a share; nought without.

    >>> from pricing.appraisal.record.record import read_record
    >>> premise_of(read_record({"assignment": {"premise_per_cent": -35}}))
    Decimal('-0.35')
    """
    per_cent = record.assignment.premise_per_cent
    return Decimal(0) if per_cent is None else per_cent / 100


def figure_at(record: Appraisal, evidence: Evidence, all_in: Decimal) -> Decimal:
    """An all-in price of the evidence at the record's level, under its premise and in its currency."""
    return evidence.conversion.from_base(all_in / (1 + premium_of(record)) * (1 + premise_of(record)))


@dataclass(frozen=True)
class Span:
    """Low, mid and high: as the evidence has them (``base``: all-in, base currency) and as figures."""

    base: tuple[Decimal, Decimal, Decimal]
    figures: tuple[Decimal, Decimal, Decimal]


def span_of(record: Appraisal, evidence: Evidence, approach: Valuation | Comparables | None) -> Span | None:
    """The range of an approach; None where it has none."""
    if approach is None or approach.low is None or approach.mid is None or approach.high is None:
        return None
    base = approach.low, approach.mid, approach.high
    low, mid, high = (figure_at(record, evidence, price) for price in base)
    return Span(base, (low, mid, high))


def valued_for(evidence: Evidence) -> Valuation:
    """What the model says, all-in, in the client's currency at the stated rate: the range, the brackets and
    the average sale that the terms start from."""
    valuation, conversion = evidence.valuation, evidence.conversion
    if conversion.currency == conversion.base:
        return valuation

    def brought(prices: pl.Series) -> pl.Series:
        amounts = [float(conversion.from_base(Decimal(repr(price)))) for price in prices]
        return pl.Series(prices.name, amounts, dtype=pl.Float64)

    ends = ((name, getattr(valuation, name)) for name in ("low", "mid", "high"))
    brought_ends: dict[str, Any] = {
        name: None if price is None else conversion.from_base(price) for name, price in ends
    }
    factors, brackets = valuation.terms["factor"], valuation.distribution
    return replace(
        valuation,
        currency=conversion.currency,
        distribution=brackets.with_columns(brought(brackets[name]) for name in ("from_price", "to_price")),
        terms=valuation.terms.with_columns(factor=pl.concat([brought(factors.head(1)), factors.slice(1)])),
        **brought_ends,
    )
