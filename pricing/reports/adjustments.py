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
from pricing.reports.evidence import NONE
from pricing.reports.formats.blocks import Block, Column, NewPage, Paragraph, Table
from pricing.reports.wording import band_words
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
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
        (told(source, words), ", ".join(option_words(line, words) for line in lines))
        for source, lines in sources.iter_rows()
    )
    columns = (Column(words.say("Source"), 1), Column(words.say("Lines"), 1.6))
    return [
        Paragraph(
            words.say(
                "Money in {currency}, to the cent: in every column price and adjustments add up to the "
                "adjusted price. A line without an amount does not apply. What stands behind each line "
                "follows the grid.",
                currency=facts.base_currency,
            )
        ),
        *(_side_by_side(facts, group, names, words) for group in groups),
        NewPage(),
        *_support(facts, words),
        Table(words.say("Sources of the adjustments"), columns, rows),
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
        (words.say("Car"), _named(vars(subject)), *(_named(row) for row in each)),
        (words.say("Sold"), NONE, *(words.short_day(row["event_date"]) for row in each)),
        (words.say("Condition band"), band_words(graded, words),
         *(band_words(row["condition_band"], words) for row in each)),
        (words.say("Recorded"), NONE, *(_recorded(row, basis, words) for row in each)),
        (words.say("Its basis"), NONE,
         *(words.word(basis.get((row["number"], BASIS))) or NONE for row in each)),
        (words.say("Price, all-in"), NONE, *(words.plain(row["price"]) for row in each)),
    ]  # fmt: skip
    first = len(rows) - 1
    for name in names:
        amounts = [money.get((number, name)) for number in numbers]
        if any(amount for amount in amounts):
            label = capital(option_words(name, words))
            said = _own(name, own.get(name), words)
            rows.append((label, said, *(_signed(amount, words) for amount in amounts)))
    rows += [
        (words.say("Adjusted price"), NONE, *(words.plain(row["adjusted_price"]) for row in each)),
    ]
    total = len(rows) - 1
    if facts.currency != facts.base_currency:
        into = facts.evidence.conversion.from_base
        brought = (words.known(into(row["adjusted_price"])) for row in each)
        rows.append((words.say("In {currency}", currency=facts.currency), NONE, *brought))
    rows += [
        (words.say("Net"), NONE, *(words.per_cent(row["net_per_cent"]) for row in each)),
        (words.say("Gross"), NONE, *(words.per_cent(row["gross_per_cent"], 1, sign=False) for row in each)),
        (words.say("Weight"), NONE, *(words.share(row["weight"]) for row in each)),
    ]
    columns = (
        Column(words.say("Line"), 1.25),
        Column(words.say("Subject"), 1.2),
        *(Column(words.say("No. {number}", number=number), 1, True) for number in numbers),
    )
    caption = words.say(
        "Adjustments of comparables {first} to {last}, beside the subject", first=numbers[0], last=numbers[-1]
    )
    return Table(caption, columns, tuple(rows), strong=(first, total), wide=True)


def _support(facts: Facts, words: LocaleWords) -> list[Block]:
    """What stands behind each line of the grid; nothing in evidence of a version that kept none."""
    found = facts.evidence.comparables
    if found is None or found.support is None or found.support.is_empty():
        return []
    lines = facts.lines.join(found.support, on=["record_id", "line"], how="inner", maintain_order="left")
    rows = tuple(
        (
            str(row["number"]),
            capital(option_words(row["line"], words)),
            words.per_cent(row["per_cent"]),
            words.say(
                "{low} to {high}",
                low=words.per_cent(row["low_per_cent"]), high=words.per_cent(row["high_per_cent"]),
            ),
            words.number(row["sales"]),
            words.say("none") if not row["pairs"] else words.number(row["pairs"]),
            NONE if row["pair_per_cent"] is None else words.per_cent(row["pair_per_cent"]),
        )
        for row in lines.iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column(words.say("No."), 0.5, True), Column(words.say("Line"), 1.6),
        Column(words.say("Effect"), 1, True),
        Column(words.say("{share} interval", share=words.share(COVERAGE)), 1.7, True),
        Column(words.say("Sales behind it"), 1, True), Column(words.say("Matched pairs"), 1, True),
        Column(words.say("Their median"), 1, True),
    )  # fmt: skip
    note = words.say(
        "Effect: of the price that the lines before it left. Matched pairs: graded sales of the model, or of "
        "the make where the model has few, alike but for that line; the median is of the ratios of their "
        "prices, brought to one date, and few pairs say little. An interval that holds nought says that the "
        "sales do not show the effect."
    )
    return [Table(words.say("What stands behind each adjustment"), columns, rows, note=note)]


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
    if line == "odometer_km":
        return words.number(float(said))
    return ", ".join(told(part.removesuffix(".0"), words) for part in said.split(", "))


def _signed(amount: Decimal | None, words: LocaleWords) -> str:
    return NONE if amount is None or amount == 0 else words.plain(amount, sign=True)
