"""The short forms of an appraisal, and the first of them: two pages of statement for an insurer.

The letter on the market (``letter``) is the other. Both come from the same facts as the whole document and
say where it is to be found. What a person wrote at length is cut here, and says so.
"""

import math
from typing import Final

from pricing.appraisal.contents import SUBJECT
from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.reports.figure_words import bars_words, premise_words, rate_words, value_statement
from pricing.reports.formats.blocks import (
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
from pricing.reports.formats.pictures import ranges_picture
from pricing.reports.wording import (
    CUT,
    MARKS,
    OWN_WORDS,
    ROAD,
    band_words,
    car_name,
    caution_words,
    condition_words,
    cut,
    identity_words,
    labels,
    odometer_words,
    reference,
    standing_warning,
    state_sentence,
    valuer_words,
)
from pricing.words.language.locale import LocaleWords, ems
from pricing.words.language.messages import SOURCE, noted
from pricing.words.language.told import told
from pricing.words.sentences import option_words

CUTS: Final = (CUT, 180, 120, 80, 50, 30)
"""Letters tried in turn, until the answers fit their page."""

ROOM: Final = 37.0
"""Lines that the answers of the first page of the statement may take, the space between rows counted in."""

LINE: Final = 32.0
"""Ems of a line of an answer."""

_NAMED: Final = ("year", "model", "variant")

WHOLE: Final = noted("What is cut short here, marked [\u2026], stands in full in the appraisal.")

RESTRICTED: Final = noted(
    "Restricted use: this short form is for the client and the users named in it, who have the whole "
    "appraisal; alone it may not be understood, and nobody else may rely on it."
)
"""What a short form is good for (USPAP 2024, Standard 8, restricted appraisal report; from memory)."""

CELL: Final = 36
"""Letters in a cell of the table of comparables."""

SHOWN: Final = 6
"""Comparables in a short form, the most alike."""


def statement(facts: Facts, words: LocaleWords) -> Pages:
    """The insurance statement: the value and what it rests on, on two pages."""
    asked, car = facts.record.assignment, facts.record.subject
    level = [words.word(asked.market_level), asked.tax_status]
    rows = [
        (words.say("Prepared for"), asked.client),
        (words.say("For use by"), asked.intended_users),
        (words.say("Intended use"), asked.intended_use),
        (words.say("Interest valued"), asked.interest),
        (words.say("Basis of value"), basis_words(facts, words)),
        (words.say("Source of the definition"), asked.basis_source),
        (words.say("Premise of value"), words.word(asked.premise)),
        (words.say("Brought to that premise"), premise_words(facts, words)),
        (words.say("Currency and rate"), rate_words(facts, words)),
        (words.say("Level and taxes"), "; ".join(part for part in level if part)),
        (words.say("Effective date"), words.day(asked.effective_date)),
        (words.say("Report date"), words.day(asked.report_date)),
    ]
    subject = [
        (words.say("Car"), car_name(facts)),
        (words.say("Identity"), identity_words(facts, words)),
        (words.say("Body and colour"), ", ".join(part for part in (car.body_style, car.colour) if part)),
        (words.say("Odometer"), odometer_words(facts, words)),
        (words.say("Options"), ", ".join(option_words(code, words) for code in car.options)),
        (words.say("Condition"), condition_words(facts, words)),
        (words.say("Inspection"), inspection_words(facts, words)),
    ]
    limit = limit_of([*rows, *subject])
    warning = standing_warning(facts, words)
    title = words.say("Insurance statement")
    blocks: list[Block] = [
        Heading(title),
        value_statement(facts, words),
        cut_answers(rows, limit),
        Heading(words.word(SUBJECT), 2),
        cut_answers(subject, limit),
        NewPage(),
        Heading(words.say("What the value rests on")),
        *([] if warning is None else [Paragraph(warning)]),
        *ranges(facts, words),
        *_comparables(facts, words),
        *assumed(facts, words),
        *_said(
            (words.say("Departs from the evidence"), facts.record.opinion.departure),
            (words.say("Material uncertainty"), facts.record.opinion.uncertainty),
            (words.say("Limits"), asked.limits), (words.say("Liability"), asked.liability),
            (words.say("Newer evidence"), newer_words(facts, words)),
        ),
        small_print(facts, words),
        *signature(facts, words),
    ]  # fmt: skip
    return short_pages(facts, words, title, blocks)


def basis_words(facts: Facts, words: LocaleWords) -> str:
    """The basis of value with its definition."""
    asked = facts.record.assignment
    return ": ".join(part for part in (words.word(asked.basis), asked.basis_definition) if part)


def small_print(facts: Facts, words: LocaleWords) -> Paragraph:
    """What a short form is good for, the cautions, its state, and where the whole is to be found."""
    said = [words.word(RESTRICTED), caution_words(facts, words), words.word(ROAD),
            cut(state_sentence(facts, words)), words.word(WHOLE)]  # fmt: skip
    if words.language != SOURCE:
        said.append(words.word(OWN_WORDS))
    return Paragraph(" ".join(said), "small")


def short_pages(facts: Facts, words: LocaleWords, title: str, blocks: list[Block]) -> Pages:
    """A short form as pages."""
    return Pages(
        title=title,
        subject=cut(car_name(facts), 60),
        mark=words.word(MARKS[facts.title]),
        reference=reference(facts, words),
        language=words.tag,
        blocks=blocks,
        pictures=ranges_picture(facts, words),
        author=facts.record.valuer.name,
        labels=labels(words),
    )


def cut_answers(rows: list[tuple[str, str]], limit: int = CUT) -> Answers:
    """Answers of which each is cut to so many letters."""
    return Answers(tuple((name, cut(said, limit)) for name, said in rows if said))


def limit_of(rows: list[tuple[str, str]], room: float = ROOM) -> int:
    """How many letters each answer may have for all of them to fit their page."""
    for limit in CUTS:
        lines = (math.ceil(ems(cut(said, limit)) / LINE) + 0.5 for _, said in rows if said)
        if sum(lines) <= room:
            return limit
    return CUTS[-1]


def newer_words(facts: Facts, words: LocaleWords) -> str:
    """What is newer than the effective date, and why it may be used."""
    if not facts.newer:
        return ""
    newer = "; ".join(told(name, words) for name in facts.newer)
    return f"{newer}. {facts.record.evidence.newer}".strip(". ")


def _said(*texts: tuple[str, str]) -> list[Block]:
    return [Paragraph(f"{title}: {cut(text, 90)}", "small") for title, text in texts if text]


def signature(facts: Facts, words: LocaleWords) -> list[Block]:
    """Who signs by hand, by name and qualifications; nobody signs what a model says."""
    if facts.title == MODEL_REPORT:
        return []
    named = ", ".join(cut(part, 80) for part in valuer_words(facts)[:2] if part)
    who = named or words.say("Valuer")
    return [Blanks((words.say("{valuer}: signature, place and date", valuer=who),))]


def inspection_words(facts: Facts, words: LocaleWords) -> str:
    """How much was seen, by whom and when."""
    note = facts.record.inspection
    manner = words.word(note.manner or "nothing is said of one")
    return ", ".join(part for part in (manner, note.by, words.day(note.on), note.extent) if part)


def ranges(facts: Facts, words: LocaleWords) -> list[Block]:
    """The picture of the ranges, or why there is none."""
    if facts.model is None and facts.comparables is None:
        reason = told(facts.evidence.valuation.reason, words)
        return [Paragraph(words.say("No range can be given: {reason}.", reason=reason))]
    caption = words.say(
        "Ranges that hold {share} of the prices expected of such a car, {currency}.",
        share=words.share(facts.evidence.valuation.coverage), currency=facts.currency,
    )  # fmt: skip
    return [Figure("ranges", caption, bars_words(facts, words))]


def _comparables(facts: Facts, words: LocaleWords) -> list[Block]:
    if facts.grid.is_empty():
        return []
    rows = tuple(
        (
            words.short_day(row["event_date"]),
            cut(" ".join(str(row[part]) for part in _NAMED if row[part] is not None), CELL),
            band_words(row["condition_band"], words),
            words.plain(facts.evidence.conversion.from_base(row["price"]), 0),
            words.known(facts.evidence.conversion.from_base(row["adjusted_price"])),
            cut(f"{row['source']}: {row['source_ref']}", CELL),
        )
        for row in facts.grid.head(SHOWN).iter_rows(named=True)
    )  # fmt: skip
    money = facts.currency
    columns = (
        Column(words.say("Sold"), 1), Column(words.say("Car"), 1.6), Column(words.say("Condition"), 1.1),
        Column(words.say("Price, {money}", money=money), 1, True),
        Column(words.say("Adjusted, {money}", money=money), 1.1, True),
        Column(words.say("Source and reference"), 1.9),
    )  # fmt: skip
    caption = words.many(
        "The {number} comparable sale most alike, of {sales}",
        "The {number} comparable sales most alike, of {sales}",
        len(rows), sales=words.number(facts.grid.height),
    )  # fmt: skip
    note = ""
    if money != facts.base_currency:
        note = words.say("All-in prices, {rate}.", rate=rate_words(facts, words))
    return [Table(caption, columns, rows, note=note)]


def assumed(facts: Facts, words: LocaleWords) -> list[Block]:
    """What the value rests on beyond the evidence."""
    said = facts.record.conditions
    lines = [text for text in (*said.extraordinary, *said.hypothetical) if not _none(text)]
    if not lines:
        return []
    if len(lines) > 3:
        title = words.say("The value rests on assumptions")
        return [Statement(title, cut(" ".join(lines)), manner="warning")]
    heading = Heading(words.say("Assumptions and conditions"), 2)
    return [heading, Bullets(tuple(cut(line, 120) for line in lines))]


def _none(text: str) -> bool:
    return text.casefold().rstrip(".") == "none"
