"""The market letter: where the car stands in its market on the first page, what that rests on on the
second."""

from typing import Final

import polars as pl

from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.reports.blocks import Block, Heading, NewPage, Pages, Paragraph
from pricing.reports.short import (
    RESTRICTED,
    WHOLE,
    assumed,
    cut_answers,
    inspection_words,
    limit_of,
    newer_words,
    ranges,
    short_pages,
    signature,
)
from pricing.reports.wording import (
    ROAD,
    car_name,
    caution_words,
    condition_words,
    cut,
    identity_words,
    level_words,
    opinion_words,
    premise_words,
    rate_words,
    span_words,
    standing_words,
    state_sentence,
    time_words,
)
from pricing.words.locale import LocaleWords

LETTER_ROOM: Final = 7.0
"""Lines that the answers at the head of the letter may take."""


def letter(facts: Facts, words: LocaleWords) -> Pages:
    """The market letter, on two pages."""
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
        f"prices expected of such a car, {level_words(facts)}, in {facts.currency}."
    )
    if facts.standing is not None:
        sentences.append(standing_words(facts))
    sentences += [_market_words(facts, words), time_words(facts, words)]
    rows = [
        ("To", asked.client),
        ("For use by", asked.intended_users),
        ("Date", words.day(asked.report_date)),
        ("About", f"{car_name(facts)}, {identity_words(facts)}".rstrip(", ")),
        ("Basis of value", f"{asked.basis}: {asked.basis_definition}".rstrip(": ")),
        ("Premise, level", ", ".join(part for part in (asked.premise, asked.market_level) if part)),
        ("Brought to that premise", premise_words(facts, words)),
        ("Currency and rate", rate_words(facts, words)),
        ("Inspection", inspection_words(facts, words)),
        ("Retrospective value", asked.retrospective),
        ("Departs from the evidence", facts.record.opinion.departure),
        ("Material uncertainty", facts.record.opinion.uncertainty),
        ("Limits", asked.limits),
        ("Liability", asked.liability),
        ("Newer evidence", newer_words(facts)),
    ]
    blocks: list[Block] = [
        Heading("Market letter"),
        cut_answers(rows[:4], limit_of(rows[:4], LETTER_ROOM)),
        *(Paragraph(text) for text in sentences),
        *ranges(facts, words),
        *signature(facts),
        NewPage(),
        Heading("What the letter rests on"),
        cut_answers(rows[4:], limit_of(rows[4:])),
        *assumed(facts),
        Paragraph(
            f"{RESTRICTED} {caution_words(facts)} {ROAD} {cut(state_sentence(facts, words))} {WHOLE}", "small"
        ),
    ]
    return short_pages(facts, words, "Market letter", blocks)


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
