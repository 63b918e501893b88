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
from pricing.words.sentences import exact_words, money_words, name_words

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
    opinions = _opinions_words(valuation, words)
    if valuation.opinion_alone:
        mark = words.word(OPINION_ALONE)
        return words.say("{mark}, which rests on {opinions}.", mark=mark, opinions=opinions)
    others = ground.sales_of_make - ground.sales_of_model
    own = words.many(
        "{count} sale of this model", "{count} sales of this model", ground.sales_of_model,
        count=_count(ground.sales_of_model, words),
    )  # fmt: skip
    make = words.many(
        "{count} other sale of its make", "{count} other sales of its make", others,
        count=_count(others, words),
    )  # fmt: skip
    nearer = ([own] if ground.sales_of_model else []) + ([opinions] if ground.statements else [])
    near = words.say(", on ").join(nearer)
    rests = (
        words.say("the range rests on {ground} and on {make}.", ground=near, make=make)
        if nearer
        else words.say("the range rests on {make}.", make=make)
    )
    if not ground.sales_of_model:
        rests = "; ".join((words.say("No sale of this model is on record"), rests))
    weights = {
        noted("sales {share}"): ground.sales, noted("related cars {share}"): ground.relations,
        noted("opinions {share}"): ground.opinions,
    }  # fmt: skip
    shares = [words.say(name, share=words.share(share)) for name, share in weights.items() if share >= 0.005]
    sentences = [rests, words.say("Weight in the mid: {shares}.", shares=", ".join(shares))]
    narrower = round(100 * ground.narrower_for_opinions)
    if narrower:
        share = words.per_cent(narrower, 0, sign=False)
        sentences.append(words.say("For the opinions the range is {share} narrower.", share=share))
    return capital(" ".join(sentences))


def _opinions_words(valuation: Valuation, words: LocaleWords) -> str:
    days = valuation.opinions["stated_on"]
    years = sorted({day.year for day in days.to_list()})
    if not years:
        return words.say("no opinions")
    when = str(years[0]) if len(years) == 1 else words.span(years[0], years[-1])
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


def subject_words(statement: Mapping[str, Any]) -> str:
    """The cars that a statement is about.

    >>> subject_words({"make": "Corvane", "model": "Six", "variant": None, "year_from": 1960, "year_to": 1967,
    ...                "country": "GB", "channel": None})
    'Corvane Six, 1960 to 1967, GB'
    """
    years = sorted({year for name in ("year_from", "year_to") if (year := statement[name]) is not None})
    cars = name_words(statement, "make", "model", "variant")
    parts = (cars, " to ".join(map(str, years)), statement["country"], statement["channel"])
    return ", ".join(filter(None, parts))


def statement_words(statement: Mapping[str, Any]) -> str:
    """One statement in one line.

    >>> from datetime import date
    >>> statement_words({"source": "A. Rowe", "stated_on": date(2026, 5, 1), "condition_band": "average",
    ...     "condition_score": None, "low": Decimal(3000), "high": Decimal(5000), "currency": "EUR",
    ...     "price_basis": "all-in", "holds": "eight in ten"})
    'average: eight in ten from EUR 3,000 to EUR 5,000 all-in (A. Rowe, 1 May 2026)'
    """
    state = statement["condition_band"] or f"score {statement['condition_score']:g}"
    low, high = (
        "" if statement[end] is None else f"{statement['currency']} {number_words(statement[end])}"
        for end in ("low", "high")
    )
    span = f"from {low} to {high}" if low and high else f"up to {high}" if high else f"from {low}"
    source = f"({statement['source']}, {day_words(statement['stated_on'])})"
    return f"{state}: {statement['holds']} {span} {statement['price_basis']} {source}"


def asked_sentence(question: Bisection, band: str, currency: str) -> str:
    """What is asked about the price in the middle of what is possible.

    >>> asked_sentence(Bisection.between(Decimal(2000), Decimal(8000)), "average", "EUR")
    "Of all cars in the state 'average', do more sell above or below EUR 4,000?"
    """
    half = exact_words(question.known[0], currency) if question.known else ""
    among = {
        "median": f"Of all cars in the state {band!r}",
        "lower quartile": f"Of those that sell below {half}",
        "upper quartile": f"Of those that sell above {half}",
    }[question.stage]
    return f"{among}, do more sell above or below {exact_words(question.price, currency)}?"


def told_sentence(quartiles: tuple[Decimal, Decimal, Decimal], currency: str) -> str:
    """What was answered, with what it amounts to as a question.

    >>> told_sentence((Decimal(3000), Decimal(4000), Decimal(5000)), "EUR").partition(". ")[0]
    'Half sell between EUR 3,000 and EUR 5,000, as many above EUR 4,000 as below'
    """
    low, middle, high = (exact_words(price, currency) for price in quartiles)
    halves = f"Half sell between {low} and {high}, as many above {middle} as below."
    return f"{halves} {feedback_sentence(quartiles, currency)}"


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
        sales = f"{_count(row['sales'], PLAIN) if row['sales'] else 'no'} sale{'s' * (row['sales'] != 1)}"
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
        calibration, information = row["calibration"], row["information"]
        sentence += f" Calibration {calibration:.2f}, information {information:.2f} (Cooke 1991)."
    if row["both"]:
        better = "less" if row["pinball"] < row["model_pinball"] else "more"
        sentence += (
            f" On {row['both']} of them the pinball loss was {row['pinball']:.0f}, {better} than the price "
            f"model's {row['model_pinball']:.0f}."
        )
    return sentence
