"""The facts of an appraisal: every number that its documents show, reckoned once from the record and its
frozen evidence.

A figure here is at the record's market level, under its premise and in its currency (``figures``).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.appraisal.consistency import Contradiction, contradictions, newer_evidence
from pricing.appraisal.contents import Content, missing
from pricing.appraisal.evidence import Evidence
from pricing.appraisal.figures import Span, opinion_of, premise_of, premium_of, span_of
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry
from pricing.decisions.amounts import whole_units
from pricing.errors import AppraisalError

MODEL_REPORT: Final = "Model report"
DRAFT: Final = "Draft appraisal"
APPRAISAL: Final = "Appraisal"

_ANNEX: Final = (
    "event_date", "make", "model", "variant", "year", "condition_band", "source", "source_ref", "price",
    "used_as",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Facts(Entry):
    """Everything both documents show of an entry that has evidence.

    Args:
        title: ``MODEL_REPORT``, ``DRAFT`` or ``APPRAISAL``.
        model, comparables: the ranges of the two approaches, None where there is none.
        opinion: the valuer's low and high, equal for a single figure; None in a model report.
        standing: share of like cars that would sell for less than the middle of the opinion, 0..1.
        grid: the comparables in the order of likeness, each with ``number`` (from 1), ``net_money`` (sum of
            its adjustments) and the columns of ``Comparables.table``.
        lines: their adjustments, with ``number``; prices run on from line to line.
        annex: every sale and offer used, with source, reference and date; ``used_as`` comparable, asking
            (a ceiling), bid (on an unsold lot: a floor) or shown (in a picture).
        rate: units of the figure's currency for one of the base currency.
        lacking, against: required contents that are missing, and rules that record and evidence break; while
            there is any the document cannot be completed.
        newer: what of the evidence is newer than the effective date.
    """

    evidence: Evidence
    title: str
    model: Span | None
    comparables: Span | None
    opinion: tuple[Decimal, Decimal] | None
    standing: float | None
    grid: pl.DataFrame
    lines: pl.DataFrame
    annex: pl.DataFrame
    rate: Decimal
    lacking: tuple[Content, ...]
    against: tuple[Contradiction, ...]
    newer: tuple[str, ...]

    @property
    def currency(self) -> str:
        """Currency of the figures."""
        return self.record.assignment.currency

    @property
    def base_currency(self) -> str:
        """Currency of the evidence."""
        return self.evidence.market.base_currency

    @property
    def translated(self) -> bool:
        """Whether figures differ from the evidence in level, premise or currency."""
        levelled = premium_of(self.record) != 0 or premise_of(self.record) != 0
        return levelled or self.currency != self.base_currency


def facts_of(entry: Entry) -> Facts:
    """The facts of one revision.

    Raises:
        AppraisalError: there is no evidence yet, or its frozen adjustments do not add up.
    """
    record = entry.record
    evidence = entry.evidence
    if evidence is None:
        raise AppraisalError(
            "there is no evidence yet: the record does not say enough of the car, its level and its date"
        )
    grid, lines = _grid(evidence)
    title = APPRAISAL if record.completed else DRAFT
    if record.assignment.kind == "model report":
        title = MODEL_REPORT
    opinion = opinion_of(record)
    return Facts(
        **vars(entry),
        title=title,
        model=span_of(record, evidence, evidence.valuation),
        comparables=span_of(record, evidence, evidence.comparables),
        opinion=opinion,
        standing=None if opinion is None else _standing(record, evidence, (opinion[0] + opinion[1]) / 2),
        grid=grid,
        lines=lines,
        annex=_annex(evidence),
        rate=evidence.conversion.rate.quantize(Decimal("0.000001")),
        lacking=tuple(missing(record, evidence)),
        against=tuple(contradictions(record, evidence)),
        newer=tuple(newer_evidence(record, evidence)),
    )


def finished(facts: Facts) -> Facts:
    """The facts of a document that is to be handed out as finished.

    Raises:
        AppraisalError: something is missing or contradicts itself; the message names all of it.
    """
    if facts.record.completed or not (facts.lacking or facts.against):
        return facts
    points = "; ".join(open_points(facts.lacking, facts.against))
    raise AppraisalError(f"{facts.appraisal_id} is not finished; {points}")


def open_points(lacking: Sequence[Content], against: Sequence[Contradiction]) -> list[str]:
    """What keeps a document from being finished, a sentence each."""
    points = [each.sentence for each in against]
    return [*points, f"missing: {', '.join(content.name for content in lacking)}"] if lacking else points


def _standing(record: Appraisal, evidence: Evidence, figure: Decimal) -> float | None:
    """Share of like cars below a figure, straight lines within the brackets of the distribution."""
    brackets = evidence.valuation.distribution
    if brackets.is_empty():
        return None
    open_market = figure / (1 + premise_of(record))
    all_in = whole_units(open_market * (1 + premium_of(record)), evidence.conversion.currency)
    price = float(evidence.conversion.to_base(all_in))
    edges = np.append(brackets["from_price"].to_numpy(), brackets["to_price"][-1])
    shares = brackets["share"].to_numpy()
    below = 1.0 - float(shares.sum())  # what lies outside the brackets, half on either side
    return float(np.interp(price, edges, below / 2 + np.append(0.0, np.cumsum(shares))))


def _grid(evidence: Evidence) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The grid and its lines, after adding up: every price after a line is the one before and its money."""
    if evidence.comparables is None:
        return pl.DataFrame(), pl.DataFrame()
    table = evidence.comparables.table
    numbers = table.select("record_id", number=pl.int_range(1, pl.len() + 1))
    lines = evidence.comparables.lines.join(numbers, on="record_id", how="left", maintain_order="left")
    steps = pl.col("step") >= 2
    sums = lines.filter(steps).group_by("record_id").agg(net_money=pl.col("money").sum())
    grid = numbers.join(table, on="record_id", maintain_order="left").join(
        sums, on="record_id", how="left", maintain_order="left"
    )
    wrong = grid.filter((pl.col("price") + pl.col("net_money") - pl.col("adjusted_price")).abs() > 0)
    before = pl.col("price_after").shift(1).over("record_id")
    broken = lines.filter(steps & ((before + pl.col("money") - pl.col("price_after")).abs() > 0))
    if wrong.height or broken.height or abs(float(table["weight"].sum()) - 1.0) > 1e-9:
        raise AppraisalError("the frozen adjustments do not add up to the adjusted prices")
    return grid, lines


def _annex(evidence: Evidence) -> pl.DataFrame:
    """Every sale and offer that a document rests on or draws, each once."""
    comparables, car = evidence.comparables, evidence.valuation.car
    parts = [evidence.valuation.sales.with_columns(used_as=pl.lit("shown"))]
    if comparables is not None:
        asking = pl.col("meaning") == "ceiling"
        offers = comparables.offers.with_columns(
            make=pl.lit(car["make"]),
            model=pl.lit(car["model"]),
            used_as=pl.when(asking).then(pl.lit("asking")).otherwise(pl.lit("bid")),
        )
        parts = [comparables.table.with_columns(used_as=pl.lit("comparable")), offers, *parts]
    every = pl.concat([part.select(_ANNEX) for part in parts], how="vertical_relaxed")
    once = every.unique(["source", "source_ref", "event_date"], keep="first", maintain_order=True)
    return once.with_row_index("line", offset=1)
