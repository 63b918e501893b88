"""The short forms of an appraisal, and the first of them: two pages of statement for an insurer.

The letter on the market (``letter``) is the other. Both come from the same facts as the whole document and
say where it is to be found. What a person wrote at length is cut here, and says so.
"""

import math
from typing import Final

from pricing.appraisal.contents import SUBJECT
from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.reports import figure_words, wording
from pricing.reports.formats import blocks as page
from pricing.reports.formats.pictures import ranges_picture
from pricing.reports.wording import CUT, cut, joined
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


def statement(facts: Facts, words: LocaleWords) -> page.Pages:
    """The insurance statement: the value and what it rests on, on two pages."""
    terms, car, opinion = facts.record.assignment, facts.record.subject, facts.record.opinion
    level = joined(words.word(terms.market_level), terms.tax_status, mark="; ")
    rows = [
        (words.say("Prepared for"), terms.client),
        (words.say("For use by"), terms.intended_users),
        (words.say("Intended use"), terms.intended_use),
        (words.say("Interest valued"), terms.interest),
        (words.say("Basis of value"), basis_words(facts, words)),
        (words.say("Source of the definition"), terms.basis_source),
        (words.say("Premise of value"), words.word(terms.premise)),
        (words.say("Brought to that premise"), figure_words.premise_words(facts, words)),
        (words.say("Currency and rate"), figure_words.rate_words(facts, words)),
        (words.say("Level and taxes"), level),
        (words.say("Effective date"), words.day(terms.effective_date)),
        (words.say("Report date"), words.day(terms.report_date)),
    ]
    subject = [
        (words.say("Car"), wording.car_name(facts)),
        (words.say("Identity"), wording.identity_words(facts, words)),
        (words.say("Body and colour"), joined(car.body_style, car.colour)),
        (words.say("Odometer"), wording.odometer_words(facts, words)),
        (words.say("Options"), ", ".join(option_words(code, words) for code in car.options)),
        (words.say("Condition"), wording.condition_words(facts, words)),
        (words.say("Inspection"), inspection_words(facts, words)),
    ]
    limit = limit_of([*rows, *subject])
    warning = wording.standing_warning(facts, words)
    title = words.say("Insurance statement")
    blocks: list[page.Block] = [
        page.Heading(title),
        figure_words.value_statement(facts, words),
        cut_answers(rows, limit),
        page.Heading(words.word(SUBJECT), 2),
        cut_answers(subject, limit),
        page.NewPage(),
        page.Heading(words.say("What the value rests on")),
        *([] if warning is None else [page.Paragraph(warning)]),
        *ranges(facts, words),
        *_comparables(facts, words),
        *assumed(facts, words),
        *_small(
            (words.say("Departs from the evidence"), opinion.departure),
            (words.say("Material uncertainty"), opinion.uncertainty),
            (words.say("Limits"), terms.limits), (words.say("Liability"), terms.liability),
            (words.say("Newer evidence"), newer_words(facts, words)),
        ),
        small_print(facts, words),
        *signature(facts, words),
    ]  # fmt: skip
    return short_pages(facts, words, title, blocks)


def basis_words(facts: Facts, words: LocaleWords) -> str:
    """The basis of value with its definition."""
    terms = facts.record.assignment
    return joined(words.word(terms.basis), terms.basis_definition, mark=": ")


def small_print(facts: Facts, words: LocaleWords) -> page.Paragraph:
    """What a short form is good for, the cautions, its state, and where the whole is to be found."""
    state, own = cut(wording.state_sentence(facts, words)), words.word(wording.OWN_WORDS)
    caution = wording.caution_words(facts, words)
    notes = (words.word(RESTRICTED), caution, words.word(wording.ROAD), state, words.word(WHOLE))
    return page.Paragraph(joined(*notes, "" if words.language == SOURCE else own, mark=" "), "small")


def short_pages(facts: Facts, words: LocaleWords, title: str, blocks: list[page.Block]) -> page.Pages:
    """A short form as pages."""
    return page.Pages(
        title=title,
        subject=cut(wording.car_name(facts), 60),
        mark=words.word(wording.MARKS[facts.title]),
        reference=wording.reference(facts, words),
        language=words.tag,
        blocks=blocks,
        pictures=ranges_picture(facts, words),
        author=facts.record.valuer.name,
        labels=wording.labels(words),
    )


def cut_answers(rows: list[tuple[str, str]], limit: int = CUT) -> page.AnswerList:
    """Answers of which each is cut to so many letters."""
    return page.AnswerList(tuple((name, cut(answer, limit)) for name, answer in rows if answer))


def limit_of(rows: list[tuple[str, str]], room: float = ROOM) -> int:
    """How many letters each answer may have for all of them to fit their page."""
    for limit in CUTS:
        lines = (math.ceil(ems(cut(answer, limit)) / LINE) + 0.5 for _, answer in rows if answer)
        if sum(lines) <= room:
            return limit
    return CUTS[-1]


def newer_words(facts: Facts, words: LocaleWords) -> str:
    """What is newer than the effective date, and why it may be used."""
    if not facts.newer:
        return ""
    newer = "; ".join(told(name, words) for name in facts.newer)
    return f"{newer}. {facts.record.evidence.newer}".strip(". ")


def _small(*notes: tuple[str, str]) -> list[page.Block]:
    return [page.Paragraph(f"{title}: {cut(note, 90)}", "small") for title, note in notes if note]


def signature(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """Who signs by hand, by name and qualifications; nobody signs what a model says."""
    if facts.title == MODEL_REPORT:
        return []
    named = joined(*(cut(part, 80) for part in wording.valuer_words(facts)[:2])) or words.say("Valuer")
    return [page.Blanks((words.say("{valuer}: signature, place and date", valuer=named),))]


def inspection_words(facts: Facts, words: LocaleWords) -> str:
    """How much was seen, by whom and when."""
    note = facts.record.inspection
    manner = words.word(note.manner or "nothing is said of one")
    return joined(manner, note.by, words.day(note.on), note.extent)


def ranges(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """The picture of the ranges, or why there is none."""
    if facts.model is None and facts.comparables is None:
        reason = told(facts.evidence.valuation.reason, words)
        return [page.Paragraph(words.say("No range can be given: {reason}.", reason=reason))]
    caption = words.say(
        "Ranges that hold {share} of the prices expected of such a car, {currency}.",
        share=words.share(facts.evidence.valuation.coverage), currency=facts.currency,
    )  # fmt: skip
    return [page.Figure("ranges", caption, figure_words.bars_words(facts, words))]


def _comparables(facts: Facts, words: LocaleWords) -> list[page.Block]:
    if facts.grid.is_empty():
        return []
    money, into, rows = facts.currency, facts.evidence.conversion.from_base, facts.grid.head(SHOWN)
    caption = words.many(
        "The {number} comparable sale most alike, of {sales}",
        "The {number} comparable sales most alike, of {sales}",
        rows.height, sales=words.number(facts.grid.height),
    )  # fmt: skip
    rate = words.say("All-in prices, {rate}.", rate=figure_words.rate_words(facts, words))
    price, adjusted = words.say("Price, {money}", money=money), words.say("Adjusted, {money}", money=money)
    return [
        page.table(
            caption,
            rows.iter_rows(named=True),
            page.text(words.say("Sold"), 1, lambda row: words.short_day(row["event_date"])),
            page.text(words.say("Car"), 1.6, lambda row: cut(wording.row_name(row), CELL)),
            page.text(
                words.say("Condition"), 1.1, lambda row: wording.band_words(row["condition_band"], words)
            ),
            page.number(price, 1, lambda row: words.plain(into(row["price"]), 0)),
            page.number(adjusted, 1.1, lambda row: words.known(into(row["adjusted_price"]))),
            page.text(words.say("Source and reference"), 1.9, lambda row: cut(wording.row_source(row), CELL)),
            note="" if money == facts.base_currency else rate,
        )
    ]


def assumed(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What the value rests on beyond the evidence."""
    lines = wording.assumptions(facts)
    if not lines:
        return []
    if len(lines) > 3:
        title = words.say("The value rests on assumptions")
        return [page.Statement(title, cut(" ".join(lines)), manner="warning")]
    heading = page.Heading(words.say("Assumptions and conditions"), 2)
    return [heading, page.Bullets(tuple(cut(line, 120) for line in lines))]
