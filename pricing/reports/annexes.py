"""The annexes of a written appraisal: every sale used, every adjustment, the ratio study, the inspection
sheet, the photographs, and what software and data it was made with."""

from collections.abc import Callable, Mapping
from typing import Any

import polars as pl

from pricing.appraisal.facts import Facts
from pricing.condition.checks import Area, CheckRole, found_words
from pricing.reports.adjustments import adjustments
from pricing.reports.evidence import fit_answers
from pricing.reports.formats import blocks as page
from pricing.reports.photographs import numbers_by_check, photographs_annex
from pricing.reports.wording import NONE, band_words, joined, row_name, row_source
from pricing.words.language.locale import LocaleWords
from pricing.words.language.told import told


def annexes(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """All of them on pages of their own, lettered in order; the grid of the first is laid across."""
    parts: list[tuple[str, list[page.Block]]] = [
        (words.say("Adjustments"), adjustments(facts, words)),
        (words.say("Sales and offers used"), _sales(facts, words)),
        (words.say("How near the approach comes"), _ratios(facts, words)),
        (words.say("How near it comes in the whole market"), _market_ratios(facts, words)),
        (words.say("Inspection sheet"), _sheet(facts, words)),
        (words.say("Photographs"), photographs_annex(facts, words)),
        (words.say("Software and data"), [fit_answers(facts, words)]),
    ]
    blocks: list[page.Block] = [page.NewPage(across=bool(parts[0][1]))]
    for letter, (title, part) in zip("ABCDEFGH", (part for part in parts if part[1]), strict=False):
        heading = words.say("Annex {letter}: {title}", letter=letter, title=title)
        blocks += [page.Heading(heading), *part]
    return blocks


def _sales(facts: Facts, words: LocaleWords) -> list[page.Block]:
    every = words.say("Every sale and offer that the comparables rest on and that a picture shows.")
    note = words.say(
        "Asking: an asking price, which is a ceiling. Bid: the highest bid on an unsold lot, a floor. "
        "Shown: a sale of the model that a picture shows."
    )
    all_in = words.say("All-in, {currency}", currency=facts.base_currency)
    return [
        page.Paragraph(" ".join([every, *_rests_on(facts, words)])),
        page.table(
            words.say("Sales and offers used"),
            facts.annex.iter_rows(named=True),
            page.number("", 0.45, lambda row: str(row["line"])),
            page.text(words.say("Date"), 1.15, lambda row: words.short_day(row["event_date"])),
            page.text(words.say("Car"), 1.7, row_name),
            page.text(words.say("Condition"), 1.2, lambda row: band_words(row["condition_band"], words)),
            page.number(
                all_in, 1.15, lambda row: NONE if row["price"] is None else words.plain(row["price"])
            ),
            page.text(words.say("Source and reference"), 2.2, row_source),
            page.text(words.say("Used as"), 1.5, lambda row: words.word(row["used_as"])),
            note=note,
        ),
    ]


def _rests_on(facts: Facts, words: LocaleWords) -> list[str]:
    """What market, model and index each count, and why the counts are not one."""
    market, fit, index = facts.evidence.market, facts.evidence.fit, facts.evidence.index
    sentences = [
        words.say(
            "The market held {sales} sales and {offers} offers by {day}; its digest identifies them.",
            sales=words.number(market.sales), offers=words.number(market.offers),
            day=words.day(facts.evidence.valuation.as_of),
        )
    ]  # fmt: skip
    if not facts.evidence.valuation.opinion_alone:
        fitted = {name: words.number(fit[name]) for name in ("sales", "unsold", "asking")}
        sentences.append(
            words.say(
                "The price model was fitted to {sales} sales, {unsold} unsold lots and {asking} asking "
                "prices of them: those that say enough of a price.",
                **fitted,
            )
        )
    if index is not None:
        sales = int(index.frame["sales"].sum())
        sentences.append(
            words.many("The index rests on {number} sale.", "The index rests on {number} sales.", sales)
        )
    return sentences


def _ratios(facts: Facts, words: LocaleWords) -> list[page.Block]:
    study = facts.evidence.ratios
    if study is None:
        return []

    def interval(measure: str, places: int) -> str:
        ends = getattr(study, f"{measure}_interval")
        return words.say("none: too few sales") if ends is None else _ends(ends[0], ends[1], places, words)

    measures = (
        (words.say("Median ratio"), "median_ratio", 3),
        (words.say("Weighted mean ratio"), "weighted_mean", 3),
        (words.say("Coefficient of dispersion, %"), "cod", 1),
        (words.say("Price-related differential"), "prd", 3),
        (words.say("Price-related bias"), "prb", 3),
    )
    rows = [(words.say("Sales"), words.number(study.sales), NONE)]
    for name, measure, places in measures:
        value = getattr(study, measure)
        figure = NONE if value is None else words.number(value, places)
        rows.append((name, figure, interval(measure, places)))
    columns = (
        page.Column(words.say("Measure"), 2), page.Column(words.say("Value"), 1, True),
        page.Column(words.say("{share} interval", share=words.share(study.confidence)), 1.5, True),
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
        page.Paragraph(f"{valued} {how}"),
        page.Table(words.say("Ratio study of the comparable-sales approach"), columns, tuple(rows)),
        *_by_kind(facts, words, "kind", words.say("By kind of car, the narrowest first")),
    ]


def _ends(low: float, high: float, places: int, words: LocaleWords) -> str:
    return words.span(words.number(low, places), words.number(high, places))


def _market_ratios(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """The study of the whole market, by groups that do not mix graded cars with others."""
    if facts.evidence.ratios is None:
        return []
    return _by_kind(facts, words, "market", words.say("The whole market"))


def _by_kind(facts: Facts, words: LocaleWords, where: str, caption: str) -> list[page.Block]:
    kinds = facts.evidence.ratio_kinds
    if kinds is None:
        return []

    def measure(name: str, places: int) -> Callable[[Mapping[str, Any]], str]:
        def cell(row: Mapping[str, Any]) -> str:
            if row[name] is None:
                return NONE
            low, high = row.get(f"{name}_low"), row.get(f"{name}_high")
            value = words.number(row[name], places)
            return value if low is None or high is None else f"{value} ({_ends(low, high, places, words)})"

        return cell

    def coverage(row: Mapping[str, Any]) -> str:
        return NONE if row["coverage"] is None else words.share(row["coverage"])

    note = words.say(
        "COD: coefficient of dispersion; PRD: price-related differential; PRB: price-related bias; in "
        "brackets the interval. Within range: share of prices inside the range given for them, of which "
        "{share} is meant.",
        share=words.share(facts.evidence.valuation.coverage),
    )
    return [
        page.table(
            caption,
            kinds.filter(pl.col("where") == where).iter_rows(named=True),
            page.text(words.say("Cars"), 1.7, lambda row: told(row["group"], words)),
            page.number(words.say("Sales"), 0.7, lambda row: words.number(row["sales"])),
            page.number(words.say("Median ratio"), 1.4, measure("median_ratio", 2)),
            page.number(words.say("COD, %"), 1.4, measure("cod", 1)),
            page.number(words.say("PRD"), 1.4, measure("prd", 2)),
            page.number(words.say("PRB"), 1.5, measure("prb", 2)),
            page.number(words.say("Within range"), 0.8, coverage),
            note=note,
        )
    ]


def _sheet(facts: Facts, words: LocaleWords) -> list[page.Block]:
    findings = facts.evidence.findings
    if findings is None:
        return []
    lookers = findings.sheet.filter(pl.col("seen_by") != "").select("seen_by", "seen_on").unique()
    alone, photographs = lookers.height == 1, numbers_by_check(facts, words)

    def state(row: Mapping[str, Any]) -> str:
        """All checks about identity and papers have the role of papers."""
        role = CheckRole.PAPERS if row["area"] == Area.IDENTITY_AND_PAPERS else ""
        return words.word(found_words(role, row["state"]))

    def note(row: Mapping[str, Any]) -> str:
        photo = words.say("photo {name}", name=row["photo"]) if row["photo"] else ""
        photo = photographs.get(row.get("check", ""), "") or photo
        return joined(row["note"], photo, "" if alone else _looker(row, words), mark="; ")

    seen = words.say("{share} of what counts towards the score", share=words.share(findings.seen_share))
    answers = [
        (words.say("Construction"), words.word(findings.construction)),
        *([(words.say("Filled in by"), _looker(lookers.row(0, named=True), words))] if alone else []),
        (words.say("Seen"), seen),
        (words.say("Preservation"), words.word(findings.preservation or "not stated")),
        (words.say("Changes from the factory state"),
         ", ".join(findings.changes) if findings.changes else words.say("none recorded")),
    ]  # fmt: skip
    return [
        page.AnswerList(tuple(answers)),
        page.table(
            words.say("Findings, check by check"),
            findings.sheet.iter_rows(named=True),
            page.text(words.say("Area"), 1.1, lambda row: words.word(row["area"])),
            page.text(words.say("Check"), 2, lambda row: words.word(row["title"])),
            page.text(words.say("Found"), 1.2, state),
            page.text(words.say("Note"), 1.9, note),
        ),
    ]


def _looker(row: Mapping[str, Any], words: LocaleWords) -> str:
    return joined(str(row["seen_by"]), words.short_day(row["seen_on"]) if row["seen_on"] else "")
