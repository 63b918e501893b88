"""What a written document says of its facts, in single sentences and cells."""

from collections.abc import Mapping
from typing import Any, Final

from pricing.appraisal.facts import APPRAISAL, DRAFT, MODEL_REPORT, Facts
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import noted
from pricing.words.market_standing import market_warning
from pricing.words.sentences import CAUTION, name_words

MARKS: Final = {
    DRAFT: noted("Draft for a qualified valuer \u2013 not an appraisal until the valuer has completed it"),
    MODEL_REPORT: noted("Model report \u2013 an estimate from sale records, not an appraisal"),
    APPRAISAL: "",
}
"""What every page says of the document's state."""

ROAD: Final = noted(
    "Whether the car may be driven is for the local test and a licensed professional to say; nothing here "
    "does."
)

OF_VALUER: Final = noted(
    "The ranges are estimates from sale records, which have not seen the car; the opinion is its valuer's, "
    "who answers for it once it is completed and signed by hand."
)
"""What is to be known of the figures of a document with an opinion."""

COMPLIANCE: Final = noted(
    "No compliance with any standard is claimed by the program that laid this document out. Whether it meets "
    "one is for the valuer to say."
)

OWN_WORDS: Final = noted(
    "What the valuer and others wrote, definitions among it, stands in the language in which it was written."
)
"""Said in every document that is not in English, the language of what the program itself keeps."""

CUT: Final = 240
"""Letters of a person's text where it must be short."""

CUT_MARK: Final = " [\u2026]"
"""Ends a text that was cut; a note says where all of it is."""


NONE: Final = "\u2013"
"""In a cell that holds nothing."""


def car_name(facts: Facts) -> str:
    """Year, make, model and variant."""
    return name_words(vars(facts.record.subject))


def row_name(row: Mapping[str, Any]) -> str:
    """Year, model and variant of a car in a table of one make."""
    return name_words(row, "year", "model", "variant")


def row_source(row: Mapping[str, Any]) -> str:
    """Where a record of a table comes from."""
    return f"{row['source']}: {row['source_ref']}"


def assumptions(facts: Facts) -> list[str]:
    """What the value rests on beyond the evidence."""
    conditions = facts.record.conditions
    lines = (*conditions.extraordinary, *conditions.hypothetical)
    return [line for line in lines if line.casefold().rstrip(".") != "none"]


def joined(*parts: str, mark: str = ", ") -> str:
    """Those of the parts that there are, one after another.

    >>> joined("Wexcombe", "", "1966")
    'Wexcombe, 1966'
    """
    return mark.join(part for part in parts if part)


def reference(facts: Facts, words: LocaleWords) -> str:
    """What the document is filed under: the record, its revision, and the beginning of its digest."""
    return words.say(
        "{record}, revision {revision}, evidence {digest}",
        record=facts.appraisal_id, revision=facts.revision, digest=str(facts.evidence_digest)[:12],
    )  # fmt: skip


def band_words(band: str | None, words: LocaleWords) -> str:
    """A condition band, or that there is none."""
    return words.word(band) if band else words.say("not graded")


def labels(words: LocaleWords) -> dict[str, str]:
    """What pages say of themselves: captions and the foot, ``{page}`` and ``{pages}`` left to the layout."""
    return {
        "table": words.say("Table"),
        "figure": words.say("Figure"),
        "page": words.say("Page {page} of {pages}", page="{page}", pages="{pages}"),
    }


def state_sentence(facts: Facts, words: LocaleWords) -> str:
    """Who answers for the document, and what it is not."""
    if facts.title == MODEL_REPORT:
        model = words.say("This is what a price model says of recorded sales.")
        return f"{model} {words.word(CAUTION)}"
    if facts.title == DRAFT:
        return words.say(
            "This draft was put together by a program from the evidence and from what its user entered. The "
            "judgement in it is for a qualified valuer to confirm, to change and to complete."
        )
    return words.say(
        "Completed by {name} on {day}. It has effect only with the valuer's own signature by hand.",
        name=facts.record.valuer.name, day=words.day(facts.record.valuer.completed_on),
    )  # fmt: skip


def time_words(facts: Facts, words: LocaleWords) -> str:
    """What was known, and what was not looked at; first what there is to know of the market."""
    market = facts.evidence.market
    values = {
        "day": words.day(facts.record.assignment.effective_date), "sales": words.number(market.sales),
        "offers": words.number(market.offers),
    }  # fmt: skip
    if market.first is not None and market.last is not None:
        known = words.say(
            "The value holds at {day}. Only what was known by then was used: {sales} sales and {offers} "
            "offers without a sale, from {first} to {last}.",
            **values, first=words.day(market.first), last=words.day(market.last),
        )  # fmt: skip
    else:
        known = words.say(
            "The value holds at {day}. Only what was known by then was used: {sales} sales and {offers} "
            "offers without a sale.",
            **values,
        )
    opinions = words.many(
        "So was {number} statement of opinion about the model.",
        "So were {number} statements of opinion about the model.",
        facts.evidence.valuation.opinions.height,
    )
    later = words.many(
        "{number} record of a later day was on file and was not looked at.",
        "{number} records of later days were on file and were not looked at.",
        facts.evidence.market.later,
    )
    return joined(
        standing_warning(facts, words) or "",
        known,
        opinions if facts.evidence.valuation.opinions.height else "",
        later if facts.evidence.market.later else "",
        mark=" ",
    )


def standing_warning(facts: Facts, words: LocaleWords) -> str | None:
    """What has to be known of the market of the evidence, as it was at the effective date."""
    market, at = facts.evidence.market, facts.record.assignment.effective_date
    if at is None or (market.sales and market.last_sale is None):  # of a version that did not keep the day
        return None
    return market_warning(market, at, words)


def condition_words(facts: Facts, words: LocaleWords) -> str:
    """The condition band, and whose word it is."""
    band = facts.evidence.valuation.car["condition_band"]
    if band is None:
        return band_words(band, words)
    source = noted("{band} (inspection sheet)") if facts.evidence.findings else noted("{band} (as stated)")
    return words.say(source, band=words.word(band))


def valuer_words(facts: Facts) -> tuple[str, str, str]:
    """The valuer's name, qualifications and address."""
    valuer = facts.record.valuer
    return valuer.name, valuer.qualifications, valuer.contact


def identity_words(facts: Facts, words: LocaleWords) -> str:
    """The numbers by which the car is known."""
    car = facts.record.subject
    named = (
        (noted("chassis {number}"), car.chassis_number),
        (noted("engine {number}"), car.engine_number),
        (noted("registration {number}"), car.registration),
    )
    return ", ".join(words.say(message, number=number) for message, number in named if number)


def odometer_words(facts: Facts, words: LocaleWords) -> str:
    """The odometer reading; nothing where none is said."""
    reading = facts.record.subject.odometer_km
    return "" if reading is None else f"{words.number(reading)} km"


def caution_words(facts: Facts, words: LocaleWords) -> str:
    """What is to be known of the figures: of a model's alone, or of a valuer's beside them."""
    return words.word(CAUTION if facts.opinion is None else OF_VALUER)


def cut(text: str, limit: int = CUT) -> str:
    """A text on one line, short; where it was cut, it says so.

    >>> cut("A short one."), cut("word " * 200, 20)
    ('A short one.', 'word word word word [\u2026]')
    """
    line = " ".join(text.split())
    if len(line) <= limit:
        return line
    start = line[: limit + 1]
    return (start.rsplit(" ", 1)[0] if " " in start else start[:limit]) + CUT_MARK
