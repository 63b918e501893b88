"""The market letter: where the car stands in its market on the first page, what that rests on on the
second."""

from typing import Final

import polars as pl

from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.reports import figure_words, short, wording
from pricing.reports.formats.blocks import Block, Heading, NewPage, Pages, Paragraph
from pricing.words.evidence import period_words
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import noted

LETTER_ROOM: Final = 7.0
"""Lines that the answers at the head of the letter may take."""


def letter(facts: Facts, words: LocaleWords) -> Pages:
    """The market letter, on two pages."""
    terms, opinion = facts.record.assignment, facts.record.opinion
    at, level = words.day(terms.effective_date), words.word(terms.market_level)
    condition = wording.condition_words(facts, words)
    sentences = [
        words.say(
            "You asked about the value of a {car} ({condition}) for this use: {use}.",
            car=wording.car_name(facts), condition=condition, use=wording.cut(terms.intended_use),
        )
    ]  # fmt: skip
    if facts.opinion is not None:
        message = (
            noted("Its {basis} at the level {level} is put at {opinion} at {day}.")
            if facts.title != MODEL_REPORT and facts.record.completed
            else noted("Its {basis} at the level {level} is proposed, in draft, as {opinion} at {day}.")
        )
        figure, basis = figure_words.opinion_words(facts, words), words.word(terms.basis)
        sentences.append(words.say(message, basis=basis, level=level, day=at, opinion=figure))
    spans = {name: figure_words.span_words(facts, words, name) for name in ("model", "comparables")}
    sentences.append(
        words.say(
            "The price model gives {model}; comparable sales give {comparables}. Either range holds {share} "
            "of the prices expected of such a car, {level}, in {currency}.",
            **spans, share=words.share(facts.evidence.valuation.coverage), currency=facts.currency,
            level=figure_words.level_words(facts, words),
        )
    )  # fmt: skip
    if facts.standing is not None:
        sentences.append(figure_words.standing_words(facts, words))
    sentences += [_market_words(facts, words), wording.time_words(facts, words)]
    about = wording.joined(wording.car_name(facts), wording.identity_words(facts, words))
    rows = [
        (words.say("To"), terms.client),
        (words.say("For use by"), terms.intended_users),
        (words.say("Date"), words.day(terms.report_date)),
        (words.say("About"), about),
        (words.say("Basis of value"), short.basis_words(facts, words)),
        (words.say("Premise, level"), wording.joined(words.word(terms.premise), level)),
        (words.say("Brought to that premise"), figure_words.premise_words(facts, words)),
        (words.say("Currency and rate"), figure_words.rate_words(facts, words)),
        (words.say("Inspection"), short.inspection_words(facts, words)),
        (words.say("Retrospective value"), terms.retrospective),
        (words.say("Departs from the evidence"), opinion.departure),
        (words.say("Material uncertainty"), opinion.uncertainty),
        (words.say("Limits"), terms.limits),
        (words.say("Liability"), terms.liability),
        (words.say("Newer evidence"), short.newer_words(facts, words)),
    ]
    title = words.say("Market letter")
    blocks: list[Block] = [
        Heading(title),
        short.cut_answers(rows[:4], short.limit_of(rows[:4], LETTER_ROOM)),
        *(Paragraph(text) for text in sentences),
        *short.ranges(facts, words),
        *short.signature(facts, words),
        NewPage(),
        Heading(words.say("What the letter rests on")),
        short.cut_answers(rows[4:], short.limit_of(rows[4:])),
        *short.assumed(facts, words),
        short.small_print(facts, words),
    ]
    return short.short_pages(facts, words, title, blocks)


def _market_words(facts: Facts, words: LocaleWords) -> str:
    """How prices moved in the last year of the index, which is the one that moved the comparables."""
    index = facts.evidence.index
    points = pl.DataFrame() if index is None else index.frame.drop_nulls("index")
    if index is None or points.height < 2:
        return words.say("There are too few sales to say how prices have moved.")
    now = points.row(-1, named=True)
    year = points.filter(pl.col("starts") <= now["starts"].replace(year=now["starts"].year - 1))
    before = points.row(0, named=True) if year.is_empty() else year.row(-1, named=True)
    values = {
        "scope": words.word(index.scope), "before": period_words(before["period"], words),
        "change": words.per_cent(100.0 * (now["index"] / before["index"] - 1.0), 0),
        "now": period_words(now["period"], words), "base": period_words(index.base, words),
        "index": words.number(now["index"], 1),
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
