"""What people say, in sentences: what a range rests on, what a span amounts to, how good a feel for prices
was."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from pricing.decisions.valuation import Valuation
from pricing.evidence.source_scores import FEWEST
from pricing.opinions.elicitation import Bisection, tails
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import day_words, number_words
from pricing.words.sentences import exact_words, money_words

OPINION_ALONE: Final = noted("Opinion alone: no sale confirms this range")
"""The mark of a price that rests on nothing but what people say."""

HONESTY: Final = noted(
    "What people say is no sale: it is weighed by how often sales fell where they said, moves only the model "
    "it is about, and gives way to sales as they come."
)


def ground_sentence(valuation: Valuation, words: LocaleWords = PLAIN) -> str | None:
    """What the range rests on, with the share of each in the mid and in the width; None without a range."""
    ground = valuation.ground
    if ground is None:
        return None
    said = _opinions_words(valuation, words)
    if valuation.opinion_alone:
        return words.say("{mark}, which rests on {opinions}.", mark=words.word(OPINION_ALONE), opinions=said)
    own = words.many(
        "{count} sale of this model", "{count} sales of this model", ground.sales_of_model,
        count=_count(ground.sales_of_model, words),
    )  # fmt: skip
    kept = [own] if ground.sales_of_model else []
    kept += [said] if ground.statements else []
    others = ground.sales_of_make - ground.sales_of_model
    make = words.many(
        "{count} other sale of its make",
        "{count} other sales of its make",
        others,
        count=_count(others, words),
    )
    if kept:
        rests = words.say("the range rests on {ground} and on {make}.",
                          ground=words.say(", on ").join(kept), make=make)  # fmt: skip
    else:
        rests = words.say("the range rests on {make}.", make=make)
    begin = [] if ground.sales_of_model else [words.say("No sale of this model is on record")]
    weights = {
        noted("sales {share}"): ground.sales, noted("related cars {share}"): ground.relations,
        noted("opinions {share}"): ground.opinions,
    }  # fmt: skip
    shares = ", ".join(
        words.say(name, share=words.share(share)) for name, share in weights.items() if share >= 0.005
    )
    sentences = ["; ".join([*begin, rests]), words.say("Weight in the mid: {shares}.", shares=shares)]
    narrower = round(100 * ground.narrower_for_opinions)
    if narrower:
        sentences.append(
            words.say(
                "For the opinions the range is {share} narrower.",
                share=words.per_cent(narrower, 0, sign=False),
            )
        )
    return capital(" ".join(sentences))


def _opinions_words(valuation: Valuation, words: LocaleWords) -> str:
    days = valuation.opinions["stated_on"]
    years = sorted({day.year for day in days.to_list()})
    if not years:
        return words.say("no opinions")
    when = str(years[0]) if len(years) == 1 else words.say("{low} to {high}", low=years[0], high=years[-1])
    sources = valuation.opinions["source"].n_unique()
    people = words.many("one source", "{number} sources", sources)
    return words.many(
        "{count} opinion of {years} by {sources}", "{count} opinions of {years} by {sources}", days.len(),
        count=_count(days.len(), words), years=when, sources=people,
    )  # fmt: skip


def _count(number: int, words: LocaleWords) -> str:
    """A number before a noun; small ones as words."""
    small = {1: noted("one"), 2: noted("two"), 3: noted("three")}
    return words.word(small[number]) if number in small else words.number(number)


def _counted(count: int, one: str, more: str) -> str:
    return f"{_count(count, PLAIN) if count else 'no'} {one if count == 1 else more}"


def subject_words(said: Mapping[str, Any]) -> str:
    """The cars that a statement is about.

    >>> subject_words({"make": "Corvane", "model": "Six", "variant": None, "year_from": 1960, "year_to": 1967,
    ...                "country": "GB", "channel": None})
    'Corvane Six, 1960 to 1967, GB'
    """
    years = sorted({year for year in (said["year_from"], said["year_to"]) if year is not None})
    parts = [
        " ".join(said[name] for name in ("make", "model", "variant") if said[name] is not None),
        " to ".join(str(year) for year in years) or None,
        said["country"],
        said["channel"],
    ]
    return ", ".join(part for part in parts if part is not None)


def statement_words(said: Mapping[str, Any]) -> str:
    """One statement in one line.

    >>> from datetime import date
    >>> statement_words({"source": "A. Rowe", "stated_on": date(2026, 5, 1), "condition_band": "average",
    ...     "condition_score": None, "low": Decimal(3000), "high": Decimal(5000), "currency": "EUR",
    ...     "price_basis": "all-in", "holds": "eight in ten"})
    'average: eight in ten from EUR 3,000 to EUR 5,000 all-in (A. Rowe, 1 May 2026)'
    """
    state = said["condition_band"] or f"score {said['condition_score']:g}"
    ends = [
        None if said[end] is None else f"{said['currency']} {number_words(said[end])}"
        for end in ("low", "high")
    ]
    span = (
        f"from {ends[0]} to {ends[1]}"
        if None not in ends
        else f"up to {ends[1]}"
        if ends[1]
        else f"from {ends[0]}"
    )
    return (
        f"{state}: {said['holds']} {span} {said['price_basis']} "
        f"({said['source']}, {day_words(said['stated_on'])})"
    )


def asked_sentence(asked: Bisection, band: str, currency: str) -> str:
    """What is asked about the price in the middle of what is possible.

    >>> asked_sentence(Bisection.between(Decimal(2000), Decimal(8000)), "average", "EUR")
    "Of all cars in the state 'average', do more sell above or below EUR 4,000?"
    """
    half = exact_words(asked.known[0], currency) if asked.known else ""
    among = {
        "median": f"Of all cars in the state {band!r}",
        "lower quartile": f"Of those that sell below {half}",
        "upper quartile": f"Of those that sell above {half}",
    }[asked.stage]
    return f"{among}, do more sell above or below {exact_words(asked.price, currency)}?"


def told_sentence(quartiles: tuple[Decimal, Decimal, Decimal], currency: str) -> str:
    """What was answered, with what it amounts to as a question.

    >>> told_sentence((Decimal(3000), Decimal(4000), Decimal(5000)), "EUR").partition(". ")[0]
    'Half sell between EUR 3,000 and EUR 5,000, as many above EUR 4,000 as below'
    """
    low, middle, high = (exact_words(price, currency) for price in quartiles)
    told = f"Half sell between {low} and {high}, as many above {middle} as below."
    return f"{told} {feedback_sentence(quartiles, currency)}"


def feedback_sentence(quartiles: tuple[Decimal, Decimal, Decimal], currency: str) -> str:
    """What quartiles amount to, as a question to whoever said them.

    >>> feedback_sentence((Decimal(3000), Decimal(4000), Decimal(5000)), "EUR")
    'So you would think one in ten sells above EUR 6,110, and one in ten below EUR 2,320?'
    """
    low, high = tails(quartiles)
    return (
        f"So you would think one in ten sells above {money_words(high, currency)}, and one in ten below "
        f"{money_words(low, currency)}?"
    )


def score_sentence(row: Mapping[str, Any]) -> str:
    """How good one source's feel for prices was; with few sales, that it cannot be told."""
    if not row["tells"]:
        sales = _counted(row["sales"], "sale", "sales")
        return (
            f"{row['source']}: {sales} came after what was said of such cars; fewer than {FEWEST} cannot "
            "tell how good it was."
        )
    held, meant = round(100 * row["held"]), round(100 * row["meant"])
    bias = round(100 * row["bias"])
    side = "as dear as" if not bias else f"{abs(bias)}% {'above' if bias > 0 else 'below'}"
    sentence = (
        f"{row['source']}: of 100 later sales {held} fell where {meant} were meant to (95% interval "
        f"{round(100 * row['held_low'])} to {round(100 * row['held_high'])}, {row['sales']} sales); the "
        f"middles were {side} what was paid."
    )
    if row["width"] is not None:
        sentence += f" The high end of a span is {row['width']:.2f} times the low one, in the middle."
    if row["calibration"] is not None:
        sentence += (
            f" Calibration {row['calibration']:.2f}, information {row['information']:.2f} (Cooke 1991)."
        )
    if row["both"]:
        better = "less" if row["pinball"] < row["model_pinball"] else "more"
        sentence += (
            f" On {row['both']} of them the pinball loss was {row['pinball']:.0f}, {better} than the price "
            f"model's {row['model_pinball']:.0f}."
        )
    return sentence
