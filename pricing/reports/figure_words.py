"""Values, ranges, levels and rates of a document in words."""

from pricing.appraisal.facts import APPRAISAL, Facts
from pricing.appraisal.figures import premise_of
from pricing.appraisal.record.record import Appraisal
from pricing.reports.formats.blocks import Statement
from pricing.words.language.locale import LocaleWords
from pricing.words.language.told import told


def basis_and_level(record: Appraisal, words: LocaleWords) -> str:
    """The basis of value and the market level."""
    asked = record.assignment
    parts = [words.word(asked.basis), words.word(asked.market_level)]
    return ", ".join(part for part in parts if part)


def span_of(ends: list[str], words: LocaleWords) -> str:
    """From one text to another; one of them where they are the same."""
    return ends[0] if ends[0] == ends[-1] else words.say("{low} to {high}", low=ends[0], high=ends[-1])


def opinion_words(facts: Facts, words: LocaleWords) -> str:
    """The valuer's figure or range."""
    if facts.opinion is None:
        return ""
    return span_of([words.money(end, facts.currency) for end in facts.opinion], words)


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
    share = facts.standing
    if share is None:
        return ""
    if share < 0.01:
        return words.say(
            "By the price model fewer than 1 in 100 cars like this one would sell for less than the opinion."
        )
    if share > 0.99:
        return words.say(
            "By the price model more than 99 in 100 cars like this one would sell for less than the opinion."
        )
    return words.say(
        "By the price model about {cars} in 100 cars like this one would sell for less than the opinion.",
        cars=round(100 * share),
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
    asked = facts.record.assignment
    if asked.premise_per_cent is None:
        return asked.premise_change
    change = words.per_cent(float(asked.premise_per_cent), 1)
    by = (
        words.say("{change} on sales as recorded ({ground})",
                  change=change, ground=words.word(asked.premise_rests_on))
        if asked.premise_rests_on
        else words.say("{change} on sales as recorded", change=change)
    )  # fmt: skip
    return words.say("{name}: {value}", name=by, value=asked.premise_change) if asked.premise_change else by


def level_words(facts: Facts, words: LocaleWords) -> str:
    """The market level of the figures, and their premise where it moves them."""
    asked = facts.record.assignment
    level = words.word(asked.market_level)
    return f"{level}, {words.word(asked.premise)}" if premise_of(facts.record) else level


def value_statement(facts: Facts, words: LocaleWords) -> Statement:
    """The figure, set apart: the valuer's, or the model's range where there is no valuer."""
    asked = facts.record.assignment
    terms = words.say(
        "{basis}, {level}, at {day}", basis=words.word(asked.basis), level=level_words(facts, words),
        day=words.day(asked.effective_date),
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
    return Statement(
        words.say("Range of the price model"),
        words.say("{low} to {high}", low=low, high=high),
        words.say(
            "middle {mid}; {share} of like cars; {terms}",
            mid=mid, share=words.share(facts.evidence.valuation.coverage), terms=terms,
        ),
    )  # fmt: skip
