"""Values, ranges, levels and rates of a document in words."""

from pricing.appraisal.facts import APPRAISAL, Facts
from pricing.appraisal.figures import premise_of
from pricing.appraisal.record.record import Appraisal
from pricing.reports.formats.blocks import Statement
from pricing.reports.wording import joined
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.told import told
from pricing.words.sentences import of_hundred


def basis_and_level(record: Appraisal, words: LocaleWords) -> str:
    """The basis of value and the market level."""
    return joined(words.word(record.assignment.basis), words.word(record.assignment.market_level))


def opinion_words(facts: Facts, words: LocaleWords) -> str:
    """The valuer's figure or range."""
    if facts.opinion is None:
        return ""
    low, high = (words.money(end, facts.currency) for end in facts.opinion)
    return low if low == high else words.span(low, high)


def bars_words(facts: Facts, words: LocaleWords) -> str:
    """What the picture of the ranges shows."""
    if facts.opinion is None:
        return words.say("Bars of the ranges of the price model and of the comparable sales.")
    return words.say(
        "Bars of the ranges of the price model and of the comparable sales, and the valuer's opinion of "
        "{opinion}.",
        opinion=opinion_words(facts, words),
    )


def standing_words(facts: Facts, words: LocaleWords) -> str:
    """Where the opinion stands among like cars, by the price model."""
    if facts.standing is None:
        return ""
    return of_hundred(
        facts.standing,
        words,
        noted(
            "By the price model fewer than 1 in 100 cars like this one would sell for less than the opinion."
        ),
        noted(
            "By the price model more than 99 in 100 cars like this one would sell for less than the opinion."
        ),
        noted(
            "By the price model about {cars} in 100 cars like this one would sell for less than the opinion."
        ),
    )


def span_words(facts: Facts, words: LocaleWords, name: str) -> str:
    """The range of one approach in words, or why there is none."""
    span = facts.model if name == "model" else facts.comparables
    if span is None:
        reason = facts.evidence.valuation.reason if name == "model" else facts.evidence.missing.get(name)
        return words.say("no range: {reason}", reason=told(reason, words))
    low, mid, high = (words.about(part, facts.currency) for part in span.figures)
    return words.say("{low} to {high}, middle {mid}", low=low, high=high, mid=mid)


def rate_words(facts: Facts, words: LocaleWords) -> str:
    """The currency of the amounts, and the rate and day at which they were brought to it."""
    if facts.currency == facts.base_currency:
        return words.say("{currency}, the currency of the evidence", currency=facts.currency)
    return words.say(
        "{currency}; {base} 1 = {currency} {rate}, reference rate of {day}",
        currency=facts.currency, base=facts.base_currency, rate=words.number(float(facts.rate), 4),
        day=words.day(facts.evidence.conversion.rate_date),
    )  # fmt: skip


def premise_words(facts: Facts, words: LocaleWords) -> str:
    """By how much, and why, figures differ from sales as recorded."""
    terms = facts.record.assignment
    if terms.premise_per_cent is None:
        return terms.premise_change
    message = (
        noted("{change} on sales as recorded ({ground})")
        if terms.premise_rests_on
        else noted("{change} on sales as recorded")
    )
    change, ground = words.per_cent(float(terms.premise_per_cent), 1), words.word(terms.premise_rests_on)
    by = words.say(message, change=change, ground=ground)
    return words.say("{name}: {value}", name=by, value=terms.premise_change) if terms.premise_change else by


def level_words(facts: Facts, words: LocaleWords) -> str:
    """The market level of the figures, and their premise where it moves them."""
    terms = facts.record.assignment
    level = words.word(terms.market_level)
    return f"{level}, {words.word(terms.premise)}" if premise_of(facts.record) else level


def value_statement(facts: Facts, words: LocaleWords) -> Statement:
    """The figure, set apart: the valuer's, or the model's range where there is no valuer."""
    assignment = facts.record.assignment
    terms = words.say(
        "{basis}, {level}, at {day}", basis=words.word(assignment.basis), level=level_words(facts, words),
        day=words.day(assignment.effective_date),
    )  # fmt: skip
    if facts.opinion is not None:
        whose = (
            words.say("Opinion of value")
            if facts.title == APPRAISAL
            else words.say("Proposed opinion of value (draft)")
        )
        return Statement(whose, opinion_words(facts, words), terms)
    span = facts.model if facts.model is not None else facts.comparables
    if span is None:
        reason = told(facts.evidence.valuation.reason, words)
        return Statement(words.say("No range can be given"), reason, terms)
    low, mid, high = (words.about(part, facts.currency) for part in span.figures)
    share = words.share(facts.evidence.valuation.coverage)
    middle = words.say("middle {mid}; {share} of like cars; {terms}", mid=mid, share=share, terms=terms)
    return Statement(words.say("Range of the price model"), words.span(low, high), middle)
