"""The short forms of an appraisal, and the first of them: two pages of statement for an insurer.

The letter on the market (``letter``) is the other. Both come from the same facts as the whole document and
say where it is to be found. What a person wrote at length is cut here, and says so.
"""

import math
from typing import Final

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
    caution_words,
    condition_words,
    cut,
    identity_words,
    opinion_words,
    premise_words,
    rate_words,
    reference,
    standing_warning,
    state_sentence,
    value_statement,
    valuer_words,
)
from pricing.words.locale import LocaleWords, ems
from pricing.words.sentences import option_words

CUTS: Final = (CUT, 180, 120, 80, 50, 30)
"""Letters tried in turn, until the answers fit their page."""

ROOM: Final = 37.0
"""Lines that the answers of the first page of the statement may take, the space between rows counted in."""

LINE: Final = 32.0
"""Ems of a line of an answer."""

_NAMED: Final = ("year", "model", "variant")

WHOLE: Final = "What is cut short here, marked [\u2026], stands in full in the appraisal."

RESTRICTED: Final = (
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
    odometer = "" if car.odometer_km is None else f"{words.number(car.odometer_km)} km"
    rows = [
        ("Prepared for", asked.client),
        ("For use by", asked.intended_users),
        ("Intended use", asked.intended_use),
        ("Interest valued", asked.interest),
        ("Basis of value", f"{asked.basis}: {asked.basis_definition}".rstrip(": ")),
        ("Source of the definition", asked.basis_source),
        ("Premise of value", asked.premise),
        ("Brought to that premise", premise_words(facts, words)),
        ("Currency and rate", rate_words(facts, words)),
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
        ("Inspection", inspection_words(facts, words)),
    ]
    limit = limit_of([*rows, *subject])
    warning = standing_warning(facts)
    blocks: list[Block] = [
        Heading("Insurance statement"),
        value_statement(facts, words),
        cut_answers(rows, limit),
        Heading(SUBJECT, 2),
        cut_answers(subject, limit),
        NewPage(),
        Heading("What the value rests on"),
        *([] if warning is None else [Paragraph(warning)]),
        *ranges(facts, words),
        *_comparables(facts, words),
        *assumed(facts),
        *_said(
            ("Departs from the evidence", facts.record.opinion.departure),
            ("Material uncertainty", facts.record.opinion.uncertainty),
            ("Limits", asked.limits),
            ("Liability", asked.liability),
            ("Newer evidence", newer_words(facts)),
        ),
        Paragraph(
            f"{RESTRICTED} {caution_words(facts)} {ROAD} {cut(state_sentence(facts, words))} {WHOLE}", "small"
        ),
        *signature(facts),
    ]
    return short_pages(facts, words, "Insurance statement", blocks)


def short_pages(facts: Facts, words: LocaleWords, title: str, blocks: list[Block]) -> Pages:
    """A short form as pages."""
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


def newer_words(facts: Facts) -> str:
    """What is newer than the effective date, and why it may be used."""
    return f"{'; '.join(facts.newer)}. {facts.record.evidence.newer}".strip(". ") if facts.newer else ""


def _said(*texts: tuple[str, str]) -> list[Block]:
    return [Paragraph(f"{title}: {cut(text, 90)}", "small") for title, text in texts if text]


def signature(facts: Facts) -> list[Block]:
    """Who signs by hand, by name and qualifications; nobody signs what a model says."""
    if facts.title == MODEL_REPORT:
        return []
    named = ", ".join(cut(part, 80) for part in valuer_words(facts)[:2] if part)
    return [Blanks((f"{named or 'Valuer'}: signature, place and date",))]


def inspection_words(facts: Facts, words: LocaleWords) -> str:
    """How much was seen, by whom and when."""
    note = facts.record.inspection
    told = [
        note.manner if note.manner else "nothing is said of one",
        note.by,
        words.day(note.on),
        note.extent,
    ]
    return ", ".join(part for part in told if part)


def ranges(facts: Facts, words: LocaleWords) -> list[Block]:
    """The picture of the ranges, or why there is none."""
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
            row["condition_band"] or "not graded",
            words.plain(facts.evidence.conversion.from_base(row["price"]), 0),
            words.known(facts.evidence.conversion.from_base(row["adjusted_price"])),
            cut(f"{row['source']}: {row['source_ref']}", CELL),
        )
        for row in facts.grid.head(SHOWN).iter_rows(named=True)
    )  # fmt: skip
    money = facts.currency
    columns = (
        Column("Sold", 1), Column("Car", 1.6), Column("Condition", 1.1), Column(f"Price, {money}", 1, True),
        Column(f"Adjusted, {money}", 1.1, True), Column("Source and reference", 1.9),
    )  # fmt: skip
    caption = f"The {len(rows)} comparable sales most alike, of {facts.grid.height}"
    note = "" if money == facts.base_currency else f"All-in prices, {rate_words(facts, words)}."
    return [Table(caption, columns, rows, note=note)]


def assumed(facts: Facts) -> list[Block]:
    """What the value rests on beyond the evidence."""
    said = facts.record.conditions
    lines = [text for text in (*said.extraordinary, *said.hypothetical) if not _none(text)]
    if not lines:
        return []
    if len(lines) > 3:
        return [Statement("The value rests on assumptions", cut(" ".join(lines)), manner="warning")]
    return [Heading("Assumptions and conditions", 2), Bullets(tuple(cut(line, 120) for line in lines))]


def _none(text: str) -> bool:
    return text.casefold().rstrip(".") == "none"
