"""The valuer's figure, and prices of the evidence at the record's market level and in its currency.

Evidence is all-in, in the market's base currency. The hammer price is the part of an all-in price before the
buyer's premium, price / (1 + premium). A figure under a premise that recorded sales were not made under is
the price times 1 + the stated difference.
"""

from dataclasses import replace
from decimal import Decimal

import polars as pl

from pricing.appraisal.evidence import Evidence
from pricing.appraisal.record.record import Appraisal
from pricing.decisions.valuation import Valuation


def opinion_of(record: Appraisal) -> tuple[Decimal, Decimal] | None:
    """The valuer's low and high, equal for a single figure; None while neither is given.

    >>> from pricing.appraisal.record.record import read_record
    >>> opinion_of(read_record({"opinion": {"figure": 4600}}))
    (Decimal('4600'), Decimal('4600'))
    """
    told = record.opinion
    if told.figure is not None:
        return told.figure, told.figure
    return None if told.low is None or told.high is None else (told.low, told.high)


def premium_of(record: Appraisal) -> Decimal:
    """The buyer's premium as a share of the hammer price, nought at every other level.

    >>> premium_of(Appraisal())
    Decimal('0')
    """
    asked = record.assignment
    if asked.market_level != "auction hammer" or asked.premium_per_cent is None:
        return Decimal(0)
    return asked.premium_per_cent / 100


def premise_of(record: Appraisal) -> Decimal:
    """What a figure under the record's premise differs by from sales as recorded, a share; nought without.

    >>> from pricing.appraisal.record.record import read_record
    >>> premise_of(read_record({"assignment": {"premise_per_cent": -35}}))
    Decimal('-0.35')
    """
    told = record.assignment.premise_per_cent
    return Decimal(0) if told is None else told / 100


def figure_at(record: Appraisal, evidence: Evidence, all_in: Decimal) -> Decimal:
    """An all-in price of the evidence at the record's level, under its premise and in its currency."""
    return evidence.conversion.from_base(all_in / (1 + premium_of(record)) * (1 + premise_of(record)))


def valued_for(evidence: Evidence) -> Valuation:
    """What the model says, all-in, in the client's currency at the stated rate: the range, the brackets and
    the average sale that the terms start from."""
    found, conversion = evidence.valuation, evidence.conversion
    if conversion.currency == conversion.base:
        return found

    def brought(prices: pl.Series) -> pl.Series:
        amounts = [float(conversion.from_base(Decimal(repr(price)))) for price in prices]
        return pl.Series(prices.name, amounts, dtype=pl.Float64)

    low, mid, high = (
        None if price is None else conversion.from_base(price) for price in (found.low, found.mid, found.high)
    )
    factors = found.terms["factor"]
    return replace(
        found,
        currency=conversion.currency, low=low, mid=mid, high=high,
        distribution=found.distribution.with_columns(
            brought(found.distribution[name]) for name in ("from_price", "to_price")
        ),
        terms=found.terms.with_columns(factor=pl.concat([brought(factors.head(1)), factors.slice(1)])),
    )  # fmt: skip
