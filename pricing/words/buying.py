"""What the facts for a buyer say, in sentences. Amounts are in the offer's currency unless said otherwise."""

from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.decisions.arguments import YEARS, Argument
from pricing.decisions.buying import Buying, Limit
from pricing.decisions.ranges import Range
from pricing.words.approaches import difference_sentence
from pricing.words.reader import cents, day_words
from pricing.words.sentences import cases_words, exact_words, money_words, range_sentence, share_words

LINE_WORDS: Final = {
    "price": "price",
    "premium": "buyer's premium with its tax",
    "transport": "transport",
    "import duty": "import duty",
    "import tax": "import tax",
    "repairs": "repairs",
}


def cents_words(amount: Decimal, currency: str) -> str:
    """An amount to the smallest unit.

    >>> cents_words(Decimal("1234.50"), "EUR")
    'EUR 1,234.50'
    """
    return f"{currency} {cents(amount)}"


def basis_note(facts: Buying) -> str:
    """What prices include, in which money, and at which rate."""
    at = day_words(facts.valuation.as_of)
    base = facts.valuation.currency
    same = facts.currency == base
    rate = (
        ""
        if same
        else f" The range is in {base}; amounts are turned at the rate of "
        f"{day_words(facts.conversion.rate_date)}."
    )
    return f"Limits are {facts.price_basis} prices in {facts.currency} at {at}.{rate}"


def verdict_sentence(facts: Buying) -> str:
    """The verdict on the price asked, with the share behind it."""
    if facts.asking is None or facts.standing is None or facts.verdict is None:
        return "No price is asked: the lot goes to the highest bid."
    asked = exact_words(facts.asking, facts.currency)
    paid = (
        ""
        if facts.asking_all_in == facts.asking or facts.asking_all_in is None
        else f" ({cents_words(facts.asking_all_in, facts.currency)} with the premium)"
    )
    return (
        f"{asked}{paid} is {facts.verdict} what like cars fetch: {share_words(facts.standing)} sell for less."
    )


def gap_sentences(facts: Buying) -> list[str]:
    """What such an asking price usually comes down to."""
    if facts.asking is None or facts.price_basis == "hammer":
        return []
    if facts.gap is None or facts.after_gap is None or facts.standing_after_gap is None:
        return ["What such an asking price usually comes down to is not known from the records."]
    gap = facts.gap
    return [
        f"On this channel ({gap.channel}) what is asked stands {100 * (gap.factor - 1):+.0f}% to what cars "
        f"sell for ({100 * (gap.low - 1):+.0f}% to {100 * (gap.high - 1):+.0f}%): this price would "
        f"usually come to {money_words(facts.after_gap, facts.currency)}, and then "
        f"{share_words(facts.standing_after_gap)} like cars sell for less."
    ]


def span_words(span: Range, currency: str) -> str:
    """A range in words: its middle, and its ends where it has any width.

    >>> span_words(Range(Decimal(900), Decimal(1000), Decimal(1200)), "EUR")
    'EUR 1,000 (eight times in ten EUR 900 to EUR 1,200)'
    >>> span_words(Range(Decimal(900), Decimal(900), Decimal(900)), "EUR")
    'EUR 900'
    """
    mid = money_words(span.mid, currency)
    if span.low == span.high:
        return mid
    return (
        f"{mid} (eight times in ten {money_words(span.low, currency)} to {money_words(span.high, currency)})"
    )


def total_sentences(facts: Buying) -> list[str]:
    """The one figure: all that it comes to until it stands ready, against the same car ready to drive."""
    missing = (
        f" Not in it, because nothing was said: {', '.join(facts.open_lines)}." if facts.open_lines else ""
    )
    if facts.total is None:
        return [f"No total without a price.{missing}"]
    parts = facts.day_one.filter(pl.col("mid").is_not_null())["line"].to_list()
    made = f": {', '.join(LINE_WORDS[part] for part in parts)}" if len(parts) > 1 else ""
    ready = "Until it stands ready" if facts.loses is not None else "As it stands"
    said = [f"{ready} it comes to {span_words(facts.total, facts.currency)}{made}.{missing}"]
    same = "The same car ready to drive fetches"
    if facts.loses is None:
        said.append(
            f"{same} {span_words(facts.ready, facts.currency)}. What it takes to get there is not known: "
            "have the car inspected."
        )
    elif facts.repairs is None:
        said.append(
            f"{same} {span_words(facts.ready, facts.currency)}: in {cases_words(facts.loses)} you would have "
            "paid more than it fetches."
        )
    else:
        said.append(
            f"{same} {span_words(facts.ready, facts.currency)}: in {cases_words(facts.loses)} mending it "
            "loses money."
        )
    return said


def argument_sentence(said: Argument) -> str:
    """One thing to say to the seller, as the records support it.

    >>> argument_sentence(Argument("unsold", "EUR", count=3, of=9))
    'Of 9 of this model put up at auction in the last 2 years, 3 found no buyer.'
    """
    years = f"in the last {YEARS} years"
    match said.kind:
        case "repairs" if said.amount is not None and said.most is not None:
            seen = (
                ""
                if said.share is None or said.share >= 0.995
                else f" ({said.share:.0%} of what counts seen)"
            )
            return (
                f"Putting right what the inspection found{seen} costs "
                f"{money_words(said.amount, said.currency)} to {money_words(said.most, said.currency)}."
            )
        case "like sales" | "model sales" if said.amount is not None:
            like = (
                "sold like this one" if said.kind == "like sales" else "of this model sold, in any condition,"
            )
            return (
                f"{said.count} of {said.of} {like} {years} brought less than "
                f"{exact_words(said.amount, said.currency)}."
            )
        case "gap" if said.amount is not None and said.share is not None:
            return (
                f"Asking prices like this stand {100 * said.share:.0f}% above what is paid in the end: that "
                f"makes {money_words(said.amount, said.currency)}."
            )
        case _:
            return f"Of {said.of} of this model put up at auction {years}, {said.count} found no buyer."


def argument_sentences(facts: Buying) -> list[str]:
    """What to say to the seller."""
    return [argument_sentence(said) for said in facts.arguments]


def limit_sentence(facts: Buying, limit: Limit, name: str) -> str:
    """A limit with the certainty it rests on."""
    sure = f"{limit.certainty:.0%}"
    worth = money_words(limit.worth, facts.currency)
    if limit.price is None:
        return (
            f"{name}: none. With {sure} certainty the car fetches {worth}, and what stands beside the price "
            "alone costs more."
        )
    return (
        f"{name}: {exact_words(limit.price, facts.currency)} ({facts.price_basis}). With {sure} "
        f"certainty a car like "
        f"this fetches at least {worth}; at this price it costs no more than that."
    )


def limit_sentences(facts: Buying) -> list[str]:
    """Walk-away price and opening offer, and where the asking price lies to them."""
    said = [
        limit_sentence(facts, facts.walk_away, "Walk away above"),
        limit_sentence(facts, facts.opening, "Open at"),
    ]
    limit = facts.walk_away.price
    if facts.asking is not None and limit is not None:
        apart = facts.asking - limit
        said.append(
            f"What is asked is {exact_words(abs(apart), facts.currency)} "
            f"{'above' if apart > 0 else 'below'} the walk-away price."
            if apart
            else "What is asked is the walk-away price."
        )
    return said


def mended_limit_sentences(facts: Buying) -> list[str]:
    """Where to stop for who will have it mended."""
    limit = facts.mended_limit
    if limit is None:
        return []
    sure = f"{limit.certainty:.0%}"
    if limit.price is None:
        return [
            f"If all that was found is to be put right: at no price; with {sure} certainty even a gift costs "
            "more in the end than the same car ready to drive."
        ]
    return [
        f"If all that was found is to be put right: stop at {exact_words(limit.price, facts.currency)} "
        f"({facts.price_basis}), to have put in no more than the same car ready to drive fetches, with "
        f"{sure} certainty."
    ]


def other_car_words(row: dict[str, Any]) -> str:
    """A car out of ``Buying.alternatives`` in a line."""
    name = " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)
    return f"{name} of about {row['year']} in {row['condition_band']}"


def alternative_sentences(facts: Buying) -> list[str]:
    """What else the money buys, a sentence for each amount of it."""
    base = facts.valuation.currency
    said = []
    for (name,), rows in facts.alternatives.group_by("at", maintain_order=True):
        first = rows.row(0, named=True)
        said.append(
            f"For {name} ({money_words(first['budget'], base)}): {len(rows)} others, the nearest in use: "
            f"{other_car_words(first)}, {money_words(first['low'], base)} to "
            f"{money_words(first['high'], base)}, half below {money_words(first['mid'], base)} "
            f"(evidence: {first['evidence']})."
        )
    return said or ["The same money elsewhere: nothing on record fits."]


def buying_sentences(facts: Buying) -> list[str]:
    """Everything in the order a buyer needs it."""
    return [
        verdict_sentence(facts),
        *limit_sentences(facts),
        *total_sentences(facts),
        *mended_limit_sentences(facts),
        *(f"To say: {sentence}" for sentence in argument_sentences(facts)),
        *gap_sentences(facts),
        range_sentence(facts.valuation),
        *([] if facts.approaches is None else [difference_sentence(facts.approaches)]),
        *alternative_sentences(facts),
    ]


def limits_caption(facts: Buying) -> str:
    """What ``buying_charts.limits_chart`` shows."""
    asked = "" if facts.asking is None else " The thick line is the price asked."
    return (
        "The curve is the share of like cars that sell for less than each price, all-in. The dashed "
        "lines are the "
        f"walk-away price and the opening offer, all-in.{asked}"
    )
