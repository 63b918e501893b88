"""The annex on adjustments: every comparable beside the subject in one grid, and what stands behind each
line."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any, Final

import polars as pl

from pricing.appraisal.facts import Facts
from pricing.evidence.comparison.adjustments import BASIS, CURRENCY, DATE
from pricing.evidence.comparison.support import COVERAGE
from pricing.reports.formats.blocks import Block, Column, NewPage, Paragraph, Table, number, table, text
from pricing.reports.wording import NONE, band_words, row_name
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
    differences = facts.lines.filter(pl.col("step") >= 2)
    names = differences.sort("step")["line"].unique(maintain_order=True).to_list()
    groups = [facts.grid[start : start + SIDE_BY_SIDE] for start in range(0, facts.grid.height, SIDE_BY_SIDE)]
    sources = differences.group_by("source", maintain_order=True).agg(
        pl.col("line").unique(maintain_order=True)
    )
    money = words.say(
        "Money in {currency}, to the cent: in every column price and adjustments add up to the adjusted "
        "price. A line without an amount does not apply. What stands behind each line follows the grid.",
        currency=facts.base_currency,
    )
    return [
        Paragraph(money),
        *(_side_by_side(facts, group, names, words) for group in groups),
        NewPage(),
        *_support(facts, words),
        table(
            words.say("Sources of the adjustments"),
            sources.iter_rows(),
            text(words.say("Source"), 1, lambda row: told(row[0], words)),
            text(
                words.say("Lines"), 1.6, lambda row: ", ".join(option_words(line, words) for line in row[1])
            ),
        ),
    ]


def _side_by_side(facts: Facts, group: pl.DataFrame, names: Sequence[str], words: LocaleWords) -> Table:
    each = list(group.iter_rows(named=True))
    numbers = [row["number"] for row in each]
    lines = {(row["number"], row["line"]): row for row in facts.lines.iter_rows(named=True)}
    own = {row["line"]: row["subject"] for row in facts.lines.iter_rows(named=True)}

    def of_line(row: Mapping[str, Any], line: str, part: str) -> Any:
        """What a line of the adjustments holds of a comparable."""
        return lines.get((row["number"], line), {}).get(part)

    def recorded(row: Mapping[str, Any]) -> str:
        currency = of_line(row, CURRENCY, "comparable")
        return NONE if row["amount"] is None else f"{currency} {words.plain(row['amount'], 0)}"

    rows: list[tuple[str, ...]] = []

    def add(label: str, cell: Callable[[Any], str], subject: str = NONE) -> None:
        rows.append((label, subject, *map(cell, each)))

    add(words.say("Car"), row_name, row_name(vars(facts.record.subject)))
    add(words.say("Sold"), lambda row: words.short_day(row["event_date"]))
    band = band_words(facts.evidence.valuation.car["condition_band"], words)
    add(words.say("Condition band"), lambda row: band_words(row["condition_band"], words), band)
    add(words.say("Recorded"), recorded)
    add(words.say("Its basis"), lambda row: words.word(of_line(row, BASIS, "comparable")) or NONE)
    add(words.say("Price, all-in"), lambda row: words.plain(row["price"]))
    first = len(rows) - 1
    for name in names:
        amounts = [of_line(row, name, "money") for row in each]
        if any(amounts):
            subject = _own(name, own.get(name), words)
            signed = (words.plain(amount, sign=True) if amount else NONE for amount in amounts)
            rows.append((capital(option_words(name, words)), subject, *signed))
    add(words.say("Adjusted price"), lambda row: words.plain(row["adjusted_price"]))
    total = len(rows) - 1
    if facts.currency != facts.base_currency:
        into = facts.evidence.conversion.from_base
        client = words.say("In {currency}", currency=facts.currency)
        add(client, lambda row: words.known(into(row["adjusted_price"])))
    add(words.say("Net"), lambda row: words.per_cent(row["net_per_cent"]))
    add(words.say("Gross"), lambda row: words.per_cent(row["gross_per_cent"], 1, sign=False))
    add(words.say("Weight"), lambda row: words.share(row["weight"]))
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
    comparables = facts.evidence.comparables
    if comparables is None or comparables.support is None or comparables.support.is_empty():
        return []
    keys = ["record_id", "line"]
    lines = facts.lines.join(comparables.support, on=keys, how="inner", maintain_order="left")

    def interval(row: Mapping[str, Any]) -> str:
        return words.span(words.per_cent(row["low_per_cent"]), words.per_cent(row["high_per_cent"]))

    def pairs(row: Mapping[str, Any]) -> str:
        return words.number(row["pairs"]) if row["pairs"] else words.say("none")

    def median(row: Mapping[str, Any]) -> str:
        return NONE if row["pair_per_cent"] is None else words.per_cent(row["pair_per_cent"])

    note = words.say(
        "Effect: of the price that the lines before it left. Matched pairs: graded sales of the model, or of "
        "the make where the model has few, alike but for that line; the median is of the ratios of their "
        "prices, brought to one date, and few pairs say little. An interval that holds nought says that the "
        "sales do not show the effect."
    )
    return [
        table(
            words.say("What stands behind each adjustment"),
            lines.iter_rows(named=True),
            number(words.say("No."), 0.5, lambda row: str(row["number"])),
            text(words.say("Line"), 1.6, lambda row: capital(option_words(row["line"], words))),
            number(words.say("Effect"), 1, lambda row: words.per_cent(row["per_cent"])),
            number(words.say("{share} interval", share=words.share(COVERAGE)), 1.7, interval),
            number(words.say("Sales behind it"), 1, lambda row: words.number(row["sales"])),
            number(words.say("Matched pairs"), 1, pairs),
            number(words.say("Their median"), 1, median),
            note=note,
        )
    ]


def _own(line: str, value: str | None, words: LocaleWords) -> str:
    """The subject's own value of a line, as the rest of the document writes it."""
    if not value:
        return NONE
    if line == DATE:
        return words.short_day(date.fromisoformat(value))
    if line == "odometer_km":
        return words.number(float(value))
    return ", ".join(told(part.removesuffix(".0"), words) for part in value.split(", "))
