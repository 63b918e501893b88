"""The annexes of a written appraisal: every sale used, every adjustment, the ratio study, the inspection
sheet, and what software and data it was made with."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.appraisal.facts import Facts
from pricing.evidence.comparison.adjustments import BASIS, CURRENCY
from pricing.reports.blocks import Answers, Block, Column, Heading, Paragraph, Table
from pricing.reports.evidence import NONE, fit_answers
from pricing.words.locale import LocaleWords
from pricing.words.sentences import option_words

SIDE_BY_SIDE: Final = 6
"""Comparables in one table of adjustments."""


def annexes(facts: Facts, words: LocaleWords) -> list[Block]:
    """All of them, lettered in order."""
    parts: list[tuple[str, list[Block]]] = [
        ("Adjustments", _adjustments(facts, words)),
        ("Sales and offers used", _sales(facts, words)),
        ("How near the approach comes", _ratios(facts, words)),
        ("Inspection sheet", _sheet(facts, words)),
        ("Software and data", [fit_answers(facts, words)]),
    ]
    blocks: list[Block] = []
    letters = iter("ABCDE")
    for title, part in parts:
        if part:
            blocks += [Heading(f"Annex {next(letters)}: {title}"), *part]
    return blocks


def _adjustments(facts: Facts, words: LocaleWords) -> list[Block]:
    """The comparables side by side, line by line; money to the cent, so that every column adds up."""
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
    blocks: list[Block] = [
        Paragraph(
            f"Money in {facts.base_currency}, to the cent: in every column price and adjustments add up "
            f"to the "
            "adjusted price. A line without an amount does not apply."
        ),
        *(_side_by_side(facts, group, names, words) for group in groups),
    ]
    return [*blocks, Table("Sources of the adjustments", (Column("Source", 1), Column("Lines", 1.6)), rows)]


def _side_by_side(facts: Facts, group: pl.DataFrame, names: Sequence[str], words: LocaleWords) -> Table:
    numbers = group["number"].to_list()
    lines = facts.lines.filter(pl.col("number").is_in(numbers))
    money = {(row["number"], row["line"]): row["money"] for row in lines.iter_rows(named=True)}
    basis = {
        (row["number"], row["line"]): row["comparable"]
        for row in lines.filter(pl.col("line").is_in([BASIS, CURRENCY])).iter_rows(named=True)
    }
    recorded = [
        NONE if row["amount"] is None else f"{basis[row['number'], CURRENCY]} "
                                           f"{words.plain(row['amount'], 0)} "
        f"{basis[row['number'], BASIS]}"
        for row in group.iter_rows(named=True)
    ]  # fmt: skip
    rows: list[tuple[str, ...]] = [
        ("Recorded", *recorded),
        ("Price, all-in", *(words.plain(price) for price in group["price"])),
    ]
    for name in names:
        amounts = [money.get((number, name)) for number in numbers]
        if any(amount for amount in amounts):
            rows.append((option_words(name).capitalize(), *(_signed(amount, words) for amount in amounts)))
    rows += [
        ("Adjusted price", *(words.plain(price) for price in group["adjusted_price"])),
        ("Net", *(words.per_cent(value) for value in group["net_per_cent"])),
        ("Gross", *(words.per_cent(value, sign=False) for value in group["gross_per_cent"])),
        ("Weight", *(words.share(value) for value in group["weight"])),
    ]
    columns = (Column("Line", 1.5), *(Column(f"No. {number}", 1, True) for number in numbers))
    return Table(
        f"Adjustments of comparables {numbers[0]} to {numbers[-1]}",
        columns,
        tuple(rows),
        strong=(1, len(rows) - 4),
    )


def _signed(amount: Decimal | None, words: LocaleWords) -> str:
    return NONE if amount is None or amount == 0 else words.plain(amount, sign=True)


def _sales(facts: Facts, words: LocaleWords) -> list[Block]:
    rows = tuple(
        (
            str(row["line"]), words.short_day(row["event_date"]),
            " ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] is not None),
            row["condition_band"] or "not graded",
            NONE if row["price"] is None else words.plain(row["price"]),
            f"{row['source']}: {row['source_ref']}", row["used_as"],
        )
        for row in facts.annex.iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column("", 0.45, True), Column("Date", 1.15), Column("Car", 1.9), Column("Condition", 1.2),
        Column(f"All-in, {facts.base_currency}", 1.15, True), Column("Source and reference", 2.2),
        Column("Used as", 1.25),
    )  # fmt: skip
    fit = facts.evidence.fit
    return [
        Paragraph(
            "Every sale and offer that the comparables rest on and that a picture shows. The price "
            "model and the "
            f"index rest on all {words.number(fit['rows'])} records up to "
            f"{words.day(facts.evidence.valuation.as_of)}, "
            "which the digest of the market identifies."
        ),
        Table(
            "Sales and offers used",
            columns,
            rows,
            note="Asking: an asking price, which is a ceiling. Bid: the highest bid on an unsold lot, a "
            "floor. "
            "Shown: a sale of the model that a picture shows.",
        ),
    ]


def _ratios(facts: Facts, words: LocaleWords) -> list[Block]:
    study = facts.evidence.ratios
    if study is None:
        return []

    def ends(interval: tuple[float, float] | None, places: int) -> str:
        if interval is None:
            return "none: too few sales"
        return " to ".join(words.number(end, places) for end in interval)

    rows = (
        ("Sales", words.number(study.sales), NONE),
        ("Median ratio", words.number(study.median_ratio, 3), ends(study.median_ratio_interval, 3)),
        ("Weighted mean ratio", words.number(study.weighted_mean, 3), ends(study.weighted_mean_interval, 3)),
        ("Coefficient of dispersion, %", words.number(study.cod, 1), ends(study.cod_interval, 1)),
        ("Price-related differential", words.number(study.prd, 3), NONE),
        (
            "Price-related bias",
            NONE if study.prb is None else words.number(study.prb, 3),
            ends(study.prb_interval, 3),
        ),
    )
    share = words.share(study.confidence)
    columns = (Column("Measure", 2), Column("Value", 1, True), Column(f"{share} interval", 1.5, True))
    return [
        Paragraph(
            "Every sale of the model was valued from the other sales of its make, as of its own day, by "
            "the approach "
            "used here; the ratio is that value over the price paid. The interval of the median is "
            "exact (order "
            f"statistics of the binomial law). Definitions: {study.edition}; nothing official says what "
            f"is good for "
            "cars. The price model that supplies the adjustments had seen these sales, which flatters "
            "the measures "
            "somewhat."
        ),
        Table("Ratio study of the comparable-sales approach", columns, rows),
    ]


def _sheet(facts: Facts, words: LocaleWords) -> list[Block]:
    found = facts.evidence.findings
    if found is None:
        return []
    lookers = found.sheet.filter(pl.col("seen_by") != "").select("seen_by", "seen_on").unique()
    alone = lookers.height == 1
    rows = tuple(
        (row["area"], row["title"], row["state"], _note(row, words, alone))
        for row in found.sheet.iter_rows(named=True)
    )
    columns = (Column("Area", 1.1), Column("Check", 2), Column("Found", 1.2), Column("Note", 1.9))
    facts_of_sheet = [
        ("Construction", found.construction),
        *([("Filled in by", _looker(lookers.row(0, named=True), words))] if alone else []),
        ("Seen", f"{words.share(found.seen_share)} of what counts towards the score"),
        ("Preservation", found.preservation or "not stated"),
        ("Changes from the factory state", ", ".join(found.changes) if found.changes else "none recorded"),
    ]
    return [Answers(tuple(facts_of_sheet)), Table("Findings, check by check", columns, rows)]


def _note(row: dict[str, Any], words: LocaleWords, alone: bool) -> str:
    photo = f"photo {row['photo']}" if row["photo"] else ""
    seen = "" if alone else _looker(row, words)
    return "; ".join(part for part in (row["note"], photo, seen) if part)


def _looker(row: dict[str, Any], words: LocaleWords) -> str:
    return f"{row['seen_by']}, {words.short_day(row['seen_on'])}" if row["seen_on"] else str(row["seen_by"])
