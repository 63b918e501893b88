"""The market letter: where the car stands in its market on the first page, what that rests on on the
second."""

from typing import Final

import polars as pl

from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.reports.figure_words import (
    level_words,
    opinion_words,
    premise_words,
    rate_words,
    span_words,
    standing_words,
)
from pricing.reports.formats.blocks import Block, Heading, NewPage, Pages, Paragraph
from pricing.reports.short import (
    assumed,
    basis_words,
    cut_answers,
    inspection_words,
    limit_of,
    newer_words,
    ranges,
    short_pages,
    signature,
    small_print,
)
from pricing.reports.wording import car_name, condition_words, cut, identity_words, time_words
from pricing.words.evidence import period_words
from pricing.words.language.locale import LocaleWords

LETTER_ROOM: Final = 7.0
"""Lines that the answers at the head of the letter may take."""


def letter(facts: Facts, words: LocaleWords) -> Pages:
    """The market letter, on two pages."""
    asked, valuation = facts.record.assignment, facts.evidence.valuation
    at, level = words.day(asked.effective_date), words.word(asked.market_level)
    sentences = [
        words.say(
            "You asked about the value of a {car} ({condition}) for this use: {use}.",
            car=car_name(facts), condition=condition_words(facts, words), use=cut(asked.intended_use),
        )
    ]  # fmt: skip
    if facts.opinion is not None:
        values = {"basis": words.word(asked.basis), "level": level, "day": at}
        opinion = opinion_words(facts, words)
        sentences.append(
            words.say("Its {basis} at the level {level} is put at {opinion} at {day}.", **values,
                      opinion=opinion)
            if facts.title != MODEL_REPORT and facts.record.completed
            else words.say("Its {basis} at the level {level} is proposed, in draft, as {opinion} at {day}.",
                           **values, opinion=opinion)
        )  # fmt: skip
    sentences.append(
        words.say(
            "The price model gives {model}; comparable sales give {comparables}. Either range holds {share} "
            "of the prices expected of such a car, {level}, in {currency}.",
            model=span_words(facts, words, "model"), comparables=span_words(facts, words, "comparables"),
            share=words.share(valuation.coverage), level=level_words(facts, words), currency=facts.currency,
        )
    )  # fmt: skip
    if facts.standing is not None:
        sentences.append(standing_words(facts, words))
    sentences += [_market_words(facts, words), time_words(facts, words)]
    about = [car_name(facts), identity_words(facts, words)]
    premise = [words.word(asked.premise), level]
    rows = [
        (words.say("To"), asked.client),
        (words.say("For use by"), asked.intended_users),
        (words.say("Date"), words.day(asked.report_date)),
        (words.say("About"), ", ".join(part for part in about if part)),
        (words.say("Basis of value"), basis_words(facts, words)),
        (words.say("Premise, level"), ", ".join(part for part in premise if part)),
        (words.say("Brought to that premise"), premise_words(facts, words)),
        (words.say("Currency and rate"), rate_words(facts, words)),
        (words.say("Inspection"), inspection_words(facts, words)),
        (words.say("Retrospective value"), asked.retrospective),
        (words.say("Departs from the evidence"), facts.record.opinion.departure),
        (words.say("Material uncertainty"), facts.record.opinion.uncertainty),
        (words.say("Limits"), asked.limits),
        (words.say("Liability"), asked.liability),
        (words.say("Newer evidence"), newer_words(facts, words)),
    ]
    title = words.say("Market letter")
    blocks: list[Block] = [
        Heading(title),
        cut_answers(rows[:4], limit_of(rows[:4], LETTER_ROOM)),
        *(Paragraph(text) for text in sentences),
        *ranges(facts, words),
        *signature(facts, words),
        NewPage(),
        Heading(words.say("What the letter rests on")),
        cut_answers(rows[4:], limit_of(rows[4:])),
        *assumed(facts, words),
        small_print(facts, words),
    ]
    return short_pages(facts, words, title, blocks)


def _market_words(facts: Facts, words: LocaleWords) -> str:
    """How prices moved in the last year of the index, which is the one that moved the comparables."""
    index = facts.evidence.index
    points = pl.DataFrame() if index is None else index.frame.drop_nulls("index")
    if index is None or points.height < 2:
        return words.say("There are too few sales to say how prices have moved.")
    now = points.row(-1, named=True)
    year = points.filter(pl.col("starts") <= now["starts"].replace(year=now["starts"].year - 1))
    before = points.row(0, named=True) if year.is_empty() else year.row(-1, named=True)
    change = 100.0 * (now["index"] / before["index"] - 1.0)
    values = {
        "scope": words.word(index.scope), "change": words.per_cent(change, 0),
        "before": period_words(before["period"], words), "now": period_words(now["period"], words),
        "index": words.number(now["index"], 1), "base": period_words(index.base, words),
    }  # fmt: skip
    if now["low"] is None:
        return words.say(
            "Prices of {scope} at constant quality moved by {change} from {before} to {now}; the index "
            "stands at {index}, {base} = 100.",
            **values,
        )
    return words.say(
        "Prices of {scope} at constant quality moved by {change} from {before} to {now}; the index stands at "
        "{index} ({low} to {high}), {base} = 100.",
        **values, low=words.number(now["low"], 1), high=words.number(now["high"], 1),
    )  # fmt: skip
