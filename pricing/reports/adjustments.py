"""The annex on adjustments: every comparable beside the subject in one grid, and what stands behind each
line."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.appraisal.facts import Facts
from pricing.evidence.comparison.adjustments import BASIS, CURRENCY, DATE
from pricing.evidence.comparison.support import COVERAGE
from pricing.reports.blocks import Block, Column, NewPage, Paragraph, Table
from pricing.reports.evidence import NONE
from pricing.words.locale import LocaleWords
from pricing.words.sentences import option_words

SIDE_BY_SIDE: Final = 14
"""Comparables in one grid; there are more grids where there are more of them."""


def adjustments(facts: Facts, words: LocaleWords) -> list[Block]:
    """The comparables side by side, line by line, on pages laid across, then what stands behind each line;
    money to the cent, so that every column adds up."""
    if facts.grid.is_empty():
        return []
    names = facts.lines.filter(pl.col("step") >= 2).sort("step")["line"].unique(maintain_order=True).to_list()
    groups = [facts.grid[start : start + SIDE_BY_SIDE] for start in range(0, facts.grid.height, SIDE_BY_SIDE)]
    sources = (
        facts.lines.filter(pl.col("step") >= 2)
        .group_by("source", maintain_order=True)
        .agg(pl.col("line").unique(maintain_order=True))
    )
    rows = tuple(
        (source, ", ".join(option_words(line) for line in lines)) for source, lines in sources.iter_rows()
    )
    return [
        Paragraph(
            f"Money in {facts.base_currency}, to the cent: in every column price and adjustments add up "
            "to the adjusted price. A line without an amount does not apply. What stands behind each line "
            "follows the grid."
        ),
        *(_side_by_side(facts, group, names, words) for group in groups),
        NewPage(),
        *_support(facts, words),
        Table("Sources of the adjustments", (Column("Source", 1), Column("Lines", 1.6)), rows),
    ]


def _side_by_side(facts: Facts, group: pl.DataFrame, names: Sequence[str], words: LocaleWords) -> Table:
    numbers, subject = group["number"].to_list(), facts.record.subject
    lines = facts.lines.filter(pl.col("number").is_in(numbers))
    money = {(row["number"], row["line"]): row["money"] for row in lines.iter_rows(named=True)}
    own = {row["line"]: row["subject"] for row in facts.lines.iter_rows(named=True)}
    basis = {
        (row["number"], row["line"]): row["comparable"]
        for row in lines.filter(pl.col("line").is_in([BASIS, CURRENCY])).iter_rows(named=True)
    }
    each = list(group.iter_rows(named=True))
    graded = facts.evidence.valuation.car["condition_band"]
    rows: list[tuple[str, ...]] = [
        ("Car", _named(vars(subject)), *(_named(row) for row in each)),
        ("Sold", NONE, *(words.short_day(row["event_date"]) for row in each)),
        ("Condition band", graded or "not graded", *(row["condition_band"] or "not graded" for row in each)),
        ("Recorded", NONE, *(_recorded(row, basis, words) for row in each)),
        ("Its basis", NONE, *(str(basis.get((row["number"], BASIS), NONE)) for row in each)),
        ("Price, all-in", NONE, *(words.plain(row["price"]) for row in each)),
    ]
    first = len(rows) - 1
    for name in names:
        amounts = [money.get((number, name)) for number in numbers]
        if any(amount for amount in amounts):
            said = _own(name, own.get(name), words)
            label = option_words(name).capitalize()
            rows.append((label, said, *(_signed(amount, words) for amount in amounts)))
    rows += [
        ("Adjusted price", NONE, *(words.plain(row["adjusted_price"]) for row in each)),
        ("Net", NONE, *(words.per_cent(row["net_per_cent"]) for row in each)),
        ("Gross", NONE, *(words.per_cent(row["gross_per_cent"], 1, sign=False) for row in each)),
        ("Weight", NONE, *(words.share(row["weight"]) for row in each)),
    ]
    columns = (
        Column("Line", 1.25), Column("Subject", 1.2), *(Column(f"No. {number}", 1, True) for number in
        numbers)
    )  # fmt: skip
    return Table(
        f"Adjustments of comparables {numbers[0]} to {numbers[-1]}, beside the subject", columns, tuple(rows),
        strong=(first, len(rows) - 4), wide=True,
    )  # fmt: skip


def _support(facts: Facts, words: LocaleWords) -> list[Block]:
    """What stands behind each line of the grid; nothing in evidence of a version that kept none."""
    found = facts.evidence.comparables
    if found is None or found.support is None or found.support.is_empty():
        return []
    told = facts.lines.join(found.support, on=["record_id", "line"], how="inner", maintain_order="left")
    rows = tuple(
        (
            str(row["number"]),
            option_words(row["line"]).capitalize(),
            words.per_cent(row["per_cent"]),
            f"{words.per_cent(row['low_per_cent'])} to {words.per_cent(row['high_per_cent'])}",
            words.number(row["sales"]),
            "none" if not row["pairs"] else words.number(row["pairs"]),
            NONE if row["pair_per_cent"] is None else words.per_cent(row["pair_per_cent"]),
        )
        for row in told.iter_rows(named=True)
    )
    columns = (
        Column("No.", 0.5, True), Column("Line", 1.6), Column("Effect", 1, True),
        Column(f"{COVERAGE:.0%} interval", 1.7, True), Column("Sales behind it", 1, True),
        Column("Matched pairs", 1, True), Column("Their median", 1, True),
    )  # fmt: skip
    return [
        Table(
            "What stands behind each adjustment", columns, rows,
            note="Effect: of the price that the lines before it left. Matched pairs: sales of the model, or "
            "of the make where the model has few, alike but for that line; the median is of the ratios of "
            "their prices, brought to one date. An interval that holds nought says that the sales do not "
            "show the effect.",
        )
    ]  # fmt: skip


def _recorded(row: dict[str, Any], basis: dict[tuple[int, str], Any], words: LocaleWords) -> str:
    if row["amount"] is None:
        return NONE
    return f"{basis[row['number'], CURRENCY]} {words.plain(row['amount'], 0)}"


def _named(row: Any) -> str:
    return " ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] not in (None, ""))


def _own(line: str, said: str | None, words: LocaleWords) -> str:
    """The subject's own value of a line, as the rest of the document writes it."""
    if not said:
        return NONE
    if line == DATE:
        return words.short_day(date.fromisoformat(said))
    return words.number(float(said)) if line == "odometer_km" else said


def _signed(amount: Decimal | None, words: LocaleWords) -> str:
    return NONE if amount is None or amount == 0 else words.plain(amount, sign=True)
