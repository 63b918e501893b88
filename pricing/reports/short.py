"""The short forms of an appraisal: two pages of statement for an insurer, one page of letter on the market.

Both come from the same facts as the whole document and say where it is to be found. What a person wrote at
length is cut here, and says so.
"""

import math
from typing import Final

import polars as pl

from pricing.appraisal.contents import SUBJECT
from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.reports.blocks import (
    Answers,
    Blanks,
    Block,
    Bullets,
    Column,
    Figure,
    Heading,
    NewPage,
    Pages,
    Paragraph,
    Statement,
    Table,
)
from pricing.reports.pictures import ranges_picture
from pricing.reports.wording import (
    CUT,
    MARKS,
    ROAD,
    car_name,
    condition_words,
    cut,
    identity_words,
    opinion_words,
    reference,
    span_words,
    standing_warning,
    standing_words,
    state_sentence,
    time_words,
    value_statement,
)
from pricing.words.locale import LocaleWords, ems
from pricing.words.sentences import CAUTION, option_words

CUTS: Final = (CUT, 180, 120, 80, 50, 30)
"""Letters tried in turn, until the answers fit their page."""

ROOM: Final = 37.0
"""Lines that the answers of the first page of the statement may take, the space between rows counted in."""

LINE: Final = 32.0
"""Ems of a line of an answer."""

_NAMED: Final = ("year", "model", "variant")

WHOLE: Final = "What is cut short here, marked [\u2026], stands in full in the appraisal."

CELL: Final = 36
"""Letters in a cell of the table of comparables."""

SHOWN: Final = 6
"""Comparables in a short form, the most alike."""


def statement(facts: Facts, words: LocaleWords) -> Pages:
    """The insurance statement: the value and what it rests on, on two pages."""
    asked, car = facts.record.assignment, facts.record.subject
    odometer = "" if car.odometer_km is None else f"{words.number(car.odometer_km)} km"
    rows = [
        ("Prepared for", asked.client),
        ("For use by", asked.intended_users),
        ("Intended use", asked.intended_use),
        ("Interest valued", asked.interest),
        ("Basis of value", f"{asked.basis}: {asked.basis_definition}".rstrip(": ")),
        ("Source of the definition", asked.basis_source),
        ("Level and taxes", f"{asked.market_level}; {asked.tax_status}".rstrip("; ")),
        ("Effective date", words.day(asked.effective_date)),
        ("Report date", words.day(asked.report_date)),
    ]
    subject = [
        ("Car", car_name(facts)),
        ("Identity", identity_words(facts)),
        ("Body and colour", ", ".join(part for part in (car.body_style, car.colour) if part)),
        ("Odometer", odometer),
        ("Options", ", ".join(option_words(code) for code in car.options)),
        ("Condition", condition_words(facts)),
        ("Inspection", _inspection(facts, words)),
    ]
    limit = _limit([*rows, *subject])
    warning = standing_warning(facts)
    blocks: list[Block] = [
        Heading("Insurance statement"),
        value_statement(facts, words),
        _answers(rows, limit),
        Heading(SUBJECT, 2),
        _answers(subject, limit),
        NewPage(),
        Heading("What the value rests on"),
        *([] if warning is None else [Paragraph(warning)]),
        *_ranges(facts, words),
        *_comparables(facts, words),
        *_assumed(facts),
        *([Paragraph(f"Limits: {cut(asked.limits)}")] if asked.limits else []),
        Paragraph(f"{CAUTION} {ROAD}", "small"),
        Paragraph(f"{cut(state_sentence(facts, words))} {WHOLE}", "small"),
        *([] if facts.title == MODEL_REPORT else [Blanks(("Signature of the valuer, place and date",))]),
    ]
    return _pages(facts, words, "Insurance statement", blocks)


def letter(facts: Facts, words: LocaleWords) -> Pages:
    """The market letter: where the car stands in its market, on one page."""
    asked, valuation = facts.record.assignment, facts.evidence.valuation
    at = words.day(asked.effective_date)
    sentences = [
        f"You asked about the value of a {car_name(facts)} ({condition_words(facts)}) for this use: "
        f"{cut(asked.intended_use)}."
    ]
    if facts.opinion is not None:
        whose = (
            "is put at"
            if facts.title != MODEL_REPORT and facts.record.completed
            else "is proposed, in draft, as"
        )
        sentences.append(
            f"Its {asked.basis} at the {asked.market_level} level {whose} {opinion_words(facts, words)} "
            f"at {at}."
        )
    sentences.append(
        f"The price model gives {span_words(facts, words, 'model')}; comparable sales give "
        f"{span_words(facts, words, 'comparables')}. Either range holds "
        f"{words.share(valuation.coverage)} of the "
        f"prices expected of such a car, {asked.market_level}, in {facts.currency}."
    )
    if facts.standing is not None:
        sentences.append(standing_words(facts))
    sentences += [_market_words(facts, words), time_words(facts, words)]
    blocks: list[Block] = [
        Heading("Market letter"),
        _answers([("To", asked.client), ("Date", words.day(asked.report_date)), ("About", car_name(facts))]),
        *(Paragraph(text) for text in sentences),
        *_ranges(facts, words),
        Paragraph(f"{CAUTION} {ROAD}", "small"),
        Paragraph(f"{cut(state_sentence(facts, words))} {WHOLE}", "small"),
        *([] if facts.title == MODEL_REPORT else [Blanks(("Signature of the valuer",))]),
    ]
    return _pages(facts, words, "Market letter", blocks)


def _pages(facts: Facts, words: LocaleWords, title: str, blocks: list[Block]) -> Pages:
    return Pages(
        title=title,
        subject=cut(car_name(facts), 60),
        mark=MARKS[facts.title],
        reference=reference(facts),
        language=words.tag if words.locale.language == "en" else "en",
        blocks=blocks,
        pictures=ranges_picture(facts, words),
        author=facts.record.valuer.name,
    )


def _answers(rows: list[tuple[str, str]], limit: int = CUT) -> Answers:
    return Answers(tuple((name, cut(said, limit)) for name, said in rows if said))


def _limit(rows: list[tuple[str, str]]) -> int:
    """How many letters each answer may have for all of them to fit the page."""
    for limit in CUTS:
        lines = (math.ceil(ems(cut(said, limit)) / LINE) + 0.5 for _, said in rows if said)
        if sum(lines) <= ROOM:
            return limit
    return CUTS[-1]


def _inspection(facts: Facts, words: LocaleWords) -> str:
    note = facts.record.inspection
    told = [
        note.manner if note.manner else "nothing is said of one",
        note.by,
        words.day(note.on),
        note.extent,
    ]
    return ", ".join(part for part in told if part)


def _ranges(facts: Facts, words: LocaleWords) -> list[Block]:
    if facts.model is None and facts.comparables is None:
        return [Paragraph(f"No range can be given: {facts.evidence.valuation.reason}.")]
    share = words.share(facts.evidence.valuation.coverage)
    shown = "" if facts.opinion is None else f", and the opinion of {opinion_words(facts, words)}"
    return [
        Figure(
            "ranges",
            f"Ranges that hold {share} of the prices expected of such a car, {facts.currency}.",
            f"Bars of the ranges of the price model and of the comparable sales{shown}.",
        )
    ]


def _comparables(facts: Facts, words: LocaleWords) -> list[Block]:
    if facts.grid.is_empty():
        return []
    rows = tuple(
        (
            words.short_day(row["event_date"]),
            cut(" ".join(str(row[part]) for part in _NAMED if row[part] is not None), CELL),
            row["condition_band"] or "not graded", words.plain(row["price"]),
            words.plain(row["adjusted_price"]),
            cut(f"{row['source']}: {row['source_ref']}", CELL),
        )
        for row in facts.grid.head(SHOWN).iter_rows(named=True)
    )  # fmt: skip
    money = facts.base_currency
    columns = (
        Column("Sold", 1), Column("Car", 1.6), Column("Condition", 1.1), Column(f"Price, {money}", 1, True),
        Column(f"Adjusted, {money}", 1.1, True), Column("Source and reference", 1.9),
    )  # fmt: skip
    return [Table(f"The {len(rows)} comparable sales most alike, of {facts.grid.height}", columns, rows)]


def _assumed(facts: Facts) -> list[Block]:
    said = facts.record.conditions
    lines = [text for text in (*said.extraordinary, *said.hypothetical) if not _none(text)]
    if not lines:
        return []
    if len(lines) > 3:
        return [Statement("The value rests on assumptions", cut(" ".join(lines)), manner="warning")]
    return [Heading("Assumptions and conditions", 2), Bullets(tuple(cut(line, 120) for line in lines))]


def _none(text: str) -> bool:
    return text.casefold().rstrip(".") == "none"


def _market_words(facts: Facts, words: LocaleWords) -> str:
    """How prices moved in the last year of the index, which is the one that moved the comparables."""
    index = facts.evidence.index
    points = pl.DataFrame() if index is None else index.frame.drop_nulls("index")
    if index is None or points.height < 2:
        return "There are too few sales to say how prices have moved."
    now = points.row(-1, named=True)
    year = points.filter(pl.col("starts") <= now["starts"].replace(year=now["starts"].year - 1))
    before = points.row(0, named=True) if year.is_empty() else year.row(-1, named=True)
    change = 100.0 * (now["index"] / before["index"] - 1.0)
    return (
        f"Prices of {index.scope} at constant quality moved by {words.per_cent(change, 0)} from "
        f"{before['period']} "
        f"to {now['period']}; the index stands at {words.number(now['index'], 1)} "
        f"({words.number(now['low'], 1)} to "
        f"{words.number(now['high'], 1)}), {index.base} = 100."
    )
