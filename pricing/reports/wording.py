"""What a written document says of its facts, in single sentences and cells."""

from typing import Final

from pricing.appraisal.facts import APPRAISAL, DRAFT, MODEL_REPORT, Facts
from pricing.appraisal.figures import premise_of
from pricing.reports.blocks import Statement
from pricing.words.locale import LocaleWords
from pricing.words.market_standing import market_warning
from pricing.words.sentences import CAUTION

MARKS: Final = {
    DRAFT: "Draft for a qualified valuer \u2013 not an appraisal until the valuer has completed it",
    MODEL_REPORT: "Model report \u2013 an estimate from sale records, not an appraisal",
    APPRAISAL: "",
}
"""What every page says of the document's state."""

ROAD: Final = (
    "Whether the car may be driven is for the local test and a licensed professional to say; nothing here "
    "does."
)

OF_VALUER: Final = (
    "The ranges are estimates from sale records, which have not seen the car; the opinion is its valuer's, "
    "who answers for it once it is completed and signed by hand."
)
"""What is to be known of the figures of a document with an opinion."""

COMPLIANCE: Final = (
    "No compliance with any standard is claimed by the program that laid this document out. Whether it meets "
    "one is for the valuer to say."
)

CUT: Final = 240
"""Letters of a person's text where it must be short."""

CUT_MARK: Final = " [\u2026]"
"""Ends a text that was cut; a note says where all of it is."""


def car_name(facts: Facts) -> str:
    """Year, make, model and variant."""
    car = facts.record.subject
    return " ".join(str(part) for part in (car.year, car.make, car.model, car.variant) if part)


def reference(facts: Facts) -> str:
    """What the document is filed under: the record, its revision, and the beginning of its digest."""
    return f"{facts.appraisal_id}, revision {facts.revision}, evidence {facts.digest[:12]}"


def opinion_words(facts: Facts, words: LocaleWords) -> str:
    """The valuer's figure or range."""
    if facts.opinion is None:
        return ""
    ends = [words.money(end, facts.currency) for end in facts.opinion]
    return ends[0] if facts.opinion[0] == facts.opinion[1] else f"{ends[0]} to {ends[1]}"


def state_sentence(facts: Facts, words: LocaleWords) -> str:
    """Who answers for the document, and what it is not."""
    if facts.title == MODEL_REPORT:
        return f"This is what a price model says of recorded sales. {CAUTION}"
    if facts.title == DRAFT:
        return (
            "This draft was put together by a program from the evidence and from what its user entered. The "
            "judgement in it is for a qualified valuer to confirm, to change and to complete."
        )
    name, day = facts.record.valuer.name, words.day(facts.record.valuer.completed_on)
    return f"Completed by {name} on {day}. It has effect only with the valuer's own signature by hand."


def time_words(facts: Facts, words: LocaleWords) -> str:
    """What was known, and what was not looked at; first what there is to know of the market."""
    at = words.day(facts.record.assignment.effective_date)
    market = facts.evidence.market
    sentence = (
        f"The value holds at {at}. Only what was known by then was used: {words.number(market.sales)} "
        f"sales and "
        f"{words.number(market.offers)} offers without a sale"
    )
    if market.first is not None and market.last is not None:
        sentence += f", from {words.day(market.first)} to {words.day(market.last)}"
    said = facts.evidence.valuation.opinions.height
    sentence += f", and {words.number(said)} statements of opinion about the model." if said else "."
    if facts.later:
        sentence += f" {words.number(facts.later)} records of later days were on file and were not looked at."
    warning = standing_warning(facts)
    return sentence if warning is None else f"{warning} {sentence}"


def standing_warning(facts: Facts) -> str | None:
    """What has to be known of the market of the evidence, as it was at the effective date."""
    market, at = facts.evidence.market, facts.record.assignment.effective_date
    if at is None or (market.sales and market.last_sale is None):  # of a version that did not keep the day
        return None
    return market_warning(market, at)


def condition_words(facts: Facts) -> str:
    """The condition band, and whose word it is."""
    car = facts.evidence.valuation.car
    if car["condition_band"] is None:
        return "not graded"
    return f"{car['condition_band']} ({'inspection sheet' if facts.evidence.findings else 'as stated'})"


def standing_words(facts: Facts) -> str:
    """Where the opinion stands among like cars, by the price model."""
    share = facts.standing
    if share is None:
        return ""
    told = (
        "fewer than 1" if share < 0.01 else "more than 99" if share > 0.99 else f"about {round(100 * share)}"
    )
    return f"By the price model {told} in 100 cars like this one would sell for less than the opinion."


def valuer_words(facts: Facts) -> tuple[str, str, str]:
    """The valuer's name, qualifications and address."""
    said = facts.record.valuer
    return said.name, said.qualifications, said.contact


def identity_words(facts: Facts) -> str:
    """The numbers by which the car is known."""
    car = facts.record.subject
    named = (
        ("chassis", car.chassis_number),
        ("engine", car.engine_number),
        ("registration", car.registration),
    )
    return ", ".join(f"{name} {number}" for name, number in named if number)


def span_words(facts: Facts, words: LocaleWords, name: str) -> str:
    """The range of one approach in words, or why there is none."""
    span = facts.model if name == "model" else facts.comparables
    if span is None:
        reason = facts.evidence.valuation.reason if name == "model" else facts.evidence.missing.get(name)
        return f"no range: {reason}"
    low, mid, high = (words.about(part, facts.currency) for part in span.figures)
    return f"{low} to {high}, middle {mid}"


def rate_words(facts: Facts, words: LocaleWords) -> str:
    """The currency of the amounts, and the rate and day at which they were brought to it."""
    if facts.currency == facts.base_currency:
        return f"{facts.currency}, the currency of the evidence"
    return (
        f"{facts.currency}; {facts.base_currency} 1 = {facts.currency} {words.number(float(facts.rate), 4)}, "
        f"reference rate of {words.day(facts.rate_date)}"
    )


def caution_words(facts: Facts) -> str:
    """What is to be known of the figures: of a model's alone, or of a valuer's beside them."""
    return CAUTION if facts.opinion is None else OF_VALUER


def premise_words(facts: Facts, words: LocaleWords) -> str:
    """By how much, and why, figures differ from sales as recorded."""
    asked = facts.record.assignment
    if asked.premise_per_cent is None:
        return asked.premise_change
    rests = f" ({asked.premise_rests_on})" if asked.premise_rests_on else ""
    by = f"{words.per_cent(float(asked.premise_per_cent), 1)} on sales as recorded{rests}"
    return f"{by}: {asked.premise_change}" if asked.premise_change else by


def level_words(facts: Facts) -> str:
    """The market level of the figures, and their premise where it moves them."""
    asked = facts.record.assignment
    return asked.market_level if not premise_of(facts.record) else f"{asked.market_level}, {asked.premise}"


def value_statement(facts: Facts, words: LocaleWords) -> Statement:
    """The figure, set apart: the valuer's, or the model's range where there is no valuer."""
    asked = facts.record.assignment
    terms = f"{asked.basis}, {level_words(facts)}, at {words.day(asked.effective_date)}"
    if facts.opinion is not None:
        whose = "Opinion of value" if facts.title == APPRAISAL else "Proposed opinion of value (draft)"
        return Statement(whose, opinion_words(facts, words), terms)
    span = facts.model if facts.model is not None else facts.comparables
    if span is None:
        return Statement("No range can be given", str(facts.evidence.valuation.reason), terms)
    low, mid, high = (words.about(part, facts.currency) for part in span.figures)
    share = words.share(facts.evidence.valuation.coverage)
    return Statement(
        "Range of the price model", f"{low} to {high}", f"middle {mid}; {share} of like cars; {terms}"
    )


def cut(text: str, limit: int = CUT) -> str:
    """A text on one line, short; where it was cut, it says so.

    >>> cut("A short one."), cut("word " * 200, 20)
    ('A short one.', 'word word word word [\u2026]')
    """
    line = " ".join(text.split())
    if len(line) <= limit:
        return line
    kept = line[: limit + 1]
    return (kept.rsplit(" ", 1)[0] if " " in kept else kept[:limit]) + CUT_MARK
