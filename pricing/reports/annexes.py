"""The annexes of a written appraisal: every sale used, every adjustment, the ratio study, the inspection
sheet, the photographs, and what software and data it was made with."""

from typing import Any

import polars as pl

from pricing.appraisal.facts import Facts
from pricing.condition.checks import Area, CheckRole, found_words
from pricing.reports.adjustments import adjustments
from pricing.reports.evidence import NONE, fit_answers
from pricing.reports.formats.blocks import Answers, Block, Column, Heading, NewPage, Paragraph, Table
from pricing.reports.photographs import numbers_by_check, photographs_annex
from pricing.reports.wording import band_words
from pricing.words.language.locale import LocaleWords
from pricing.words.language.told import told


def annexes(facts: Facts, words: LocaleWords) -> list[Block]:
    """All of them on pages of their own, lettered in order; the grid of the first is laid across."""
    parts: list[tuple[str, list[Block]]] = [
        (words.say("Adjustments"), adjustments(facts, words)),
        (words.say("Sales and offers used"), _sales(facts, words)),
        (words.say("How near the approach comes"), _ratios(facts, words)),
        (words.say("How near it comes in the whole market"), _market_ratios(facts, words)),
        (words.say("Inspection sheet"), _sheet(facts, words)),
        (words.say("Photographs"), photographs_annex(facts, words)),
        (words.say("Software and data"), [fit_answers(facts, words)]),
    ]
    blocks: list[Block] = [NewPage(across=bool(parts[0][1]))]
    letters = iter("ABCDEFGH")
    for title, part in parts:
        if part:
            blocks += [
                Heading(words.say("Annex {letter}: {title}", letter=next(letters), title=title)),
                *part,
            ]
    return blocks


def _sales(facts: Facts, words: LocaleWords) -> list[Block]:
    rows = tuple(
        (
            str(row["line"]), words.short_day(row["event_date"]),
            " ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] is not None),
            band_words(row["condition_band"], words),
            NONE if row["price"] is None else words.plain(row["price"]),
            f"{row['source']}: {row['source_ref']}", words.word(row["used_as"]),
        )
        for row in facts.annex.iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column("", 0.45, True), Column(words.say("Date"), 1.15), Column(words.say("Car"), 1.7),
        Column(words.say("Condition"), 1.2),
        Column(words.say("All-in, {currency}", currency=facts.base_currency), 1.15, True),
        Column(words.say("Source and reference"), 2.2), Column(words.say("Used as"), 1.5),
    )  # fmt: skip
    every = words.say("Every sale and offer that the comparables rest on and that a picture shows.")
    note = words.say(
        "Asking: an asking price, which is a ceiling. Bid: the highest bid on an unsold lot, a floor. "
        "Shown: a sale of the model that a picture shows."
    )
    return [
        Paragraph(" ".join([every, *_rests_on(facts, words)])),
        Table(words.say("Sales and offers used"), columns, rows, note=note),
    ]


def _rests_on(facts: Facts, words: LocaleWords) -> list[str]:
    """What market, model and index each count, and why the counts are not one."""
    market, fit, index = facts.evidence.market, facts.evidence.fit, facts.evidence.index
    said = [
        words.say(
            "The market held {sales} sales and {offers} offers by {day}; its digest identifies them.",
            sales=words.number(market.sales), offers=words.number(market.offers),
            day=words.day(facts.evidence.valuation.as_of),
        )
    ]  # fmt: skip
    if not facts.evidence.valuation.opinion_alone:
        said.append(
            words.say(
                "The price model was fitted to {sales} sales, {unsold} unsold lots and {asking} asking "
                "prices of them: those that say enough of a price.",
                sales=words.number(fit["sales"]), unsold=words.number(fit["unsold"]),
                asking=words.number(fit["asking"]),
            )
        )  # fmt: skip
    if index is not None:
        sales = int(index.frame["sales"].sum())
        said.append(
            words.many("The index rests on {number} sale.", "The index rests on {number} sales.", sales)
        )
    return said


def _ratios(facts: Facts, words: LocaleWords) -> list[Block]:
    study = facts.evidence.ratios
    if study is None:
        return []

    def ends(interval: tuple[float, float] | None, places: int) -> str:
        return words.say("none: too few sales") if interval is None else _ends(*interval, places, words)

    rows = (
        (words.say("Sales"), words.number(study.sales), NONE),
        (words.say("Median ratio"), words.number(study.median_ratio, 3),
         ends(study.median_ratio_interval, 3)),
        (words.say("Weighted mean ratio"), words.number(study.weighted_mean, 3),
         ends(study.weighted_mean_interval, 3)),
        (words.say("Coefficient of dispersion, %"), words.number(study.cod, 1), ends(study.cod_interval, 1)),
        (words.say("Price-related differential"), words.number(study.prd, 3),
         ends(study.prd_interval, 3)),
        (words.say("Price-related bias"), NONE if study.prb is None else words.number(study.prb, 3),
         ends(study.prb_interval, 3)),
    )  # fmt: skip
    share = words.share(study.confidence)
    columns = (
        Column(words.say("Measure"), 2), Column(words.say("Value"), 1, True),
        Column(words.say("{share} interval", share=share), 1.5, True),
    )  # fmt: skip
    kind = facts.evidence.ratio_kind
    valued = (
        words.say(
            "Every sale of cars of the subject's kind ({kind}) was valued from the other sales on record, "
            "as of its own day, by the approach used here; the ratio is that value over the price paid.",
            kind=told(kind, words),
        )
        if kind
        else words.say(
            "Every sale of the model was valued from the other sales on record, as of its own day, by the "
            "approach used here; the ratio is that value over the price paid."
        )
    )
    how = words.say(
        "The interval of the median is exact (order statistics of the binomial law), that of the "
        "differential by the delta method, for the standard gives none. Definitions: {edition}; "
        "nothing official says what is good for cars. The price model that supplies the adjustments had seen "
        "these sales, which flatters the measures somewhat.",
        edition=study.edition,
    )
    return [
        Paragraph(f"{valued} {how}"),
        Table(words.say("Ratio study of the comparable-sales approach"), columns, rows),
        *_by_kind(facts, words, "kind", words.say("By kind of car, the narrowest first")),
    ]


def _ends(low: float, high: float, places: int, words: LocaleWords) -> str:
    return words.say("{low} to {high}", low=words.number(low, places), high=words.number(high, places))


def _market_ratios(facts: Facts, words: LocaleWords) -> list[Block]:
    """The study of the whole market, by groups that do not mix graded cars with others."""
    if facts.evidence.ratios is None:
        return []
    return _by_kind(facts, words, "market", words.say("The whole market"))


def _by_kind(facts: Facts, words: LocaleWords, where: str, caption: str) -> list[Block]:
    kinds = facts.evidence.ratio_kinds
    if kinds is None:
        return []

    def measure(row: dict[str, Any], name: str, places: int) -> str:
        if row[name] is None:
            return NONE
        low, high = row.get(f"{name}_low"), row.get(f"{name}_high")
        shown = words.number(row[name], places)
        return shown if low is None or high is None else f"{shown} ({_ends(low, high, places, words)})"

    rows = tuple(
        (
            told(row["group"], words), words.number(row["sales"]), measure(row, "median_ratio", 2),
            measure(row, "cod", 1),
            measure(row, "prd", 2), measure(row, "prb", 2),
            NONE if row["coverage"] is None else words.share(row["coverage"]),
        )
        for row in kinds.filter(pl.col("where") == where).iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column(words.say("Cars"), 1.7), Column(words.say("Sales"), 0.7, True),
        Column(words.say("Median ratio"), 1.4, True), Column(words.say("COD, %"), 1.4, True),
        Column(words.say("PRD"), 1.4, True), Column(words.say("PRB"), 1.5, True),
        Column(words.say("Within range"), 0.8, True),
    )  # fmt: skip
    note = words.say(
        "COD: coefficient of dispersion; PRD: price-related differential; PRB: price-related bias; in "
        "brackets the interval. Within range: share of prices inside the range given for them, of which "
        "{share} is meant.",
        share=words.share(facts.evidence.valuation.coverage),
    )
    return [Table(caption, columns, rows, note=note)]


def _sheet(facts: Facts, words: LocaleWords) -> list[Block]:
    found = facts.evidence.findings
    if found is None:
        return []
    lookers = found.sheet.filter(pl.col("seen_by") != "").select("seen_by", "seen_on").unique()
    alone = lookers.height == 1
    shown = numbers_by_check(facts, words)
    rows = tuple(
        (
            words.word(row["area"]),
            words.word(row["title"]),
            words.word(_found(row["area"], row["state"])),
            _note(row, words, alone, shown.get(row.get("check", ""), "")),
        )
        for row in found.sheet.iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column(words.say("Area"), 1.1), Column(words.say("Check"), 2), Column(words.say("Found"), 1.2),
        Column(words.say("Note"), 1.9),
    )  # fmt: skip
    seen = words.say("{share} of what counts towards the score", share=words.share(found.seen_share))
    facts_of_sheet = [
        (words.say("Construction"), words.word(found.construction)),
        *([(words.say("Filled in by"), _looker(lookers.row(0, named=True), words))] if alone else []),
        (words.say("Seen"), seen),
        (words.say("Preservation"), words.word(found.preservation or "not stated")),
        (words.say("Changes from the factory state"),
         ", ".join(found.changes) if found.changes else words.say("none recorded")),
    ]  # fmt: skip
    return [Answers(tuple(facts_of_sheet)), Table(words.say("Findings, check by check"), columns, rows)]


def _found(area: str, state: str) -> str:
    """What was found at a check of an area; all those about identity and papers have the role of papers."""
    return found_words(CheckRole.PAPERS if area == Area.IDENTITY_AND_PAPERS else "", state)


def _note(row: dict[str, Any], words: LocaleWords, alone: bool, shown: str) -> str:
    photo = shown or (words.say("photo {name}", name=row["photo"]) if row["photo"] else "")
    seen = "" if alone else _looker(row, words)
    return "; ".join(part for part in (row["note"], photo, seen) if part)


def _looker(row: dict[str, Any], words: LocaleWords) -> str:
    return f"{row['seen_by']}, {words.short_day(row['seen_on'])}" if row["seen_on"] else str(row["seen_by"])
