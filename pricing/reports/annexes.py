"""The annexes of a written appraisal: every sale used, every adjustment, the ratio study, the inspection
sheet, the photographs, and what software and data it was made with."""

from typing import Any

import polars as pl

from pricing.appraisal.facts import Facts
from pricing.reports.adjustments import adjustments
from pricing.reports.blocks import Answers, Block, Column, Heading, NewPage, Paragraph, Table
from pricing.reports.evidence import NONE, fit_answers
from pricing.reports.photographs import numbers_by_check, photographs_annex
from pricing.words.locale import LocaleWords


def annexes(facts: Facts, words: LocaleWords) -> list[Block]:
    """All of them on pages of their own, lettered in order; the grid of the first is laid across."""
    parts: list[tuple[str, list[Block]]] = [
        ("Adjustments", adjustments(facts, words)),
        ("Sales and offers used", _sales(facts, words)),
        ("How near the approach comes", _ratios(facts, words)),
        ("How near it comes in the whole market", _market_ratios(facts, words)),
        ("Inspection sheet", _sheet(facts, words)),
        ("Photographs", photographs_annex(facts, words)),
        ("Software and data", [fit_answers(facts, words)]),
    ]
    blocks: list[Block] = [NewPage(across=bool(parts[0][1]))]
    letters = iter("ABCDEFGH")
    for title, part in parts:
        if part:
            blocks += [Heading(f"Annex {next(letters)}: {title}"), *part]
    return blocks


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
    return [
        Paragraph(
            "Every sale and offer that the comparables rest on and that a picture shows. "
            f"{_rests_on(facts, words)}"
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


def _rests_on(facts: Facts, words: LocaleWords) -> str:
    """What market, model and index each count, and why the counts are not one."""
    market, fit, index = facts.evidence.market, facts.evidence.fit, facts.evidence.index
    said = (
        f"The market held {words.number(market.sales)} sales and {words.number(market.offers)} offers by "
        f"{words.day(facts.evidence.valuation.as_of)}; its digest identifies them."
    )
    if not facts.evidence.valuation.opinion_alone:
        said += (
            f" The price model was fitted to {words.number(fit['sales'])} sales, "
            f"{words.number(fit['unsold'])} "
            f"unsold lots and {words.number(fit['asking'])} asking prices of them: those that say enough "
            "of a "
            "price."
        )
    if index is not None:
        said += f" The index rests on {words.number(int(index.frame['sales'].sum()))} sales."
    return said


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
    kind = facts.evidence.ratio_kind
    whose = f"cars of the subject's kind ({kind})" if kind else "the model"
    return [
        Paragraph(
            f"Every sale of {whose} was valued from the other sales on record, as of its own day, by the "
            "approach "
            "used here; the ratio is that value over the price paid. The interval of the median is exact "
            "(order "
            f"statistics of the binomial law). Definitions: {study.edition}; nothing official says what "
            "is good for "
            "cars. The price model that supplies the adjustments had seen these sales, which flatters "
            "the measures "
            "somewhat."
        ),
        Table("Ratio study of the comparable-sales approach", columns, rows),
        *_by_kind(facts, words, "kind", "By kind of car, the narrowest first"),
    ]


def _market_ratios(facts: Facts, words: LocaleWords) -> list[Block]:
    """The study of the whole market, by groups that do not mix graded cars with others."""
    return [] if facts.evidence.ratios is None else _by_kind(facts, words, "market", "The whole market")


def _by_kind(facts: Facts, words: LocaleWords, where: str, caption: str) -> list[Block]:
    kinds = facts.evidence.ratio_kinds
    if kinds is None:
        return []

    def measure(row: dict[str, Any], name: str, places: int) -> str:
        if row[name] is None:
            return NONE
        ends = [row[f"{name}_{end}"] for end in ("low", "high")]
        shown = words.number(row[name], places)
        return (
            shown if None in ends else f"{shown} ({' to '.join(words.number(end, places) for end in ends)})"
        )

    rows = tuple(
        (
            row["group"], words.number(row["sales"]), measure(row, "median_ratio", 2), measure(row, "cod", 1),
            words.number(row["prd"], 2), measure(row, "prb", 2),
            NONE if row["coverage"] is None else words.share(row["coverage"]),
        )
        for row in kinds.filter(pl.col("where") == where).iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column("Cars", 2.2), Column("Sales", 0.7, True), Column("Median ratio", 1.5, True),
        Column("COD, %", 1.5, True), Column("PRD", 0.7, True), Column("PRB", 1.6, True),
        Column("Within range", 0.8, True),
    )  # fmt: skip
    return [
        Table(
            caption, columns, rows,
            note="COD: coefficient of dispersion; PRD: price-related differential; PRB: price-related bias; "
            "in brackets the interval. Within range: share of prices inside the range given for them, of "
            "which "
            f"{words.share(facts.evidence.valuation.coverage)} is meant.",
        )
    ]  # fmt: skip


def _sheet(facts: Facts, words: LocaleWords) -> list[Block]:
    found = facts.evidence.findings
    if found is None:
        return []
    lookers = found.sheet.filter(pl.col("seen_by") != "").select("seen_by", "seen_on").unique()
    alone = lookers.height == 1
    shown = numbers_by_check(facts)
    rows = tuple(
        (
            row["area"],
            row["title"],
            row["state"],
            _note(row, words, alone, shown.get(row.get("check", ""), "")),
        )
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


def _note(row: dict[str, Any], words: LocaleWords, alone: bool, shown: str) -> str:
    photo = shown or (f"photo {row['photo']}" if row["photo"] else "")
    seen = "" if alone else _looker(row, words)
    return "; ".join(part for part in (row["note"], photo, seen) if part)


def _looker(row: dict[str, Any], words: LocaleWords) -> str:
    return f"{row['seen_by']}, {words.short_day(row['seen_on'])}" if row["seen_on"] else str(row["seen_by"])
