"""What the facts for a buyer say, in sentences. Amounts are in the offer's currency unless said otherwise."""

import re
from decimal import Decimal
from typing import Final

import polars as pl

from pricing.decisions.amounts import Range
from pricing.decisions.buy.arguments import YEARS, Argument
from pricing.decisions.buy.buying import Buying, Limit
from pricing.words.approaches import difference_sentence
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.reader import cents
from pricing.words.language.told import told
from pricing.words.sentences import (
    cases_words,
    exact_words,
    money_words,
    name_words,
    range_sentence,
    share_words,
)

LINE_WORDS: Final = {
    "price": noted("price"),
    "premium": noted("buyer's premium with its tax"),
    "transport": noted("transport"),
    "import duty": noted("import duty"),
    "import tax": noted("import tax"),
    "repairs": noted("repairs"),
}


def cents_words(amount: Decimal, currency: str) -> str:
    """An amount to the smallest unit.

    >>> cents_words(Decimal("1234.50"), "EUR")
    'EUR 1,234.50'
    """
    return f"{currency} {cents(amount)}"


def basis_note(facts: Buying, words: LocaleWords = PLAIN) -> str:
    """What prices include, in which money, and at which rate."""
    base, day = facts.valuation.currency, words.day(facts.valuation.as_of)
    limits = words.say(
        "Limits are {basis} prices in {currency} at {day}.",
        basis=words.word(facts.price_basis), currency=facts.currency, day=day,
    )  # fmt: skip
    if facts.currency == base:
        return limits
    day = words.day(facts.conversion.rate_date)
    rate = words.say(
        "The range is in {currency}; amounts are turned at the rate of {day}.", currency=base, day=day
    )
    return f"{limits} {rate}"


def charges_words(rates: str, words: LocaleWords = PLAIN) -> str:
    """Where charges come from: the days they are in force from, between the name and the notice of a
    schedule, which are as they were written unless they are shipped.

    >>> charges_words("Example: premium in force from 2026-01-01.", LocaleWords.of("de_DE"))
    'Example: Aufgeld in Kraft seit 1. Januar 2026.'
    """
    if words.language == "en" and not words.messages.texts:
        return rates
    parts = _IN_FORCE.split(rates)
    if len(parts) == 1:
        return words.word(rates)
    name, notice = parts[0].removesuffix(": "), parts[-1].removeprefix(". ")
    days = ", ".join(told(charge, words) for charge in _IN_FORCE.findall(rates))
    since = f"{words.word(name)}: {days}."
    return since if notice == "." else f"{since} {words.word(notice)}"


_IN_FORCE: Final = re.compile(r"(?:premium|import duty|import tax) in force from \d{4}-\d{2}-\d{2}")


def verdict_sentence(facts: Buying, words: LocaleWords = PLAIN) -> str:
    """The verdict on the price asked, with the share behind it."""
    if facts.asking is None or facts.standing is None or facts.verdict is None:
        return words.say("No price is asked: the lot goes to the highest bid.")
    values = {
        "asked": words.whole(facts.asking, facts.currency), "verdict": words.word(facts.verdict),
        "share": share_words(facts.standing, words),
    }  # fmt: skip
    if facts.asking_all_in == facts.asking or facts.asking_all_in is None:
        return words.say("{asked} is {verdict} what like cars fetch: {share} sell for less.", **values)
    paid = words.exact(facts.asking_all_in, facts.currency)
    return words.say(
        "{asked} ({paid} with the premium) is {verdict} what like cars fetch: {share} sell for less.",
        paid=paid, **values,
    )  # fmt: skip


def gap_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """What such an asking price usually comes down to."""
    if facts.asking is None or facts.price_basis == "hammer":
        return []
    if facts.gap is None or facts.after_gap is None or facts.standing_after_gap is None:
        return [words.say("What such an asking price usually comes down to is not known from the records.")]
    gap = facts.gap
    middle, low, high = (words.per_cent(100 * (end - 1), 0) for end in (gap.factor, gap.low, gap.high))
    return [
        words.say(
            "On this channel ({channel}) what is asked stands {middle} to what cars sell for ({low} to "
            "{high}): this price would usually come to {price}, and then {share} like cars sell for less.",
            channel=words.word(gap.channel), middle=middle, low=low, high=high,
            price=words.about(facts.after_gap, facts.currency),
            share=share_words(facts.standing_after_gap, words),
        )
    ]  # fmt: skip


def span_words(span: Range, currency: str, words: LocaleWords = PLAIN) -> str:
    """A range in words: its middle, and its ends where it has any width.

    >>> span_words(Range(Decimal(900), Decimal(1000), Decimal(1200)), "EUR")
    'EUR 1,000 (eight times in ten EUR 900 to EUR 1,200)'
    >>> span_words(Range(Decimal(900), Decimal(900), Decimal(900)), "EUR")
    'EUR 900'
    """
    low, mid, high = (words.about(end, currency) for end in (span.low, span.mid, span.high))
    if span.low == span.high:
        return mid
    return words.say("{mid} (eight times in ten {low} to {high})", mid=mid, low=low, high=high)


def total_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """The one figure: all that it comes to until it stands ready, against the same car ready to drive."""
    lines = ", ".join(words.word(line) for line in facts.open_lines)
    missing = [words.say("Not in it, because nothing was said: {lines}.", lines=lines)] if lines else []
    if facts.total is None:
        return [" ".join([words.say("No total without a price."), *missing])]
    parts = facts.day_one.filter(pl.col("mid").is_not_null())["line"].to_list()
    first = words.say(
        _TOTALS[facts.loses is not None, len(parts) > 1],
        total=span_words(facts.total, facts.currency, words),
        lines=", ".join(words.word(LINE_WORDS[part]) for part in parts),
    )
    against = "unknown" if facts.loses is None else "bought" if facts.repairs is None else "mended"
    cases = "" if facts.loses is None else cases_words(facts.loses, words)
    same = words.say(_READY[against], price=span_words(facts.ready, facts.currency, words), cases=cases)
    return [" ".join([first, *missing]), same]


_TOTALS: Final = {
    (True, True): noted("Until it stands ready it comes to {total}: {lines}."),
    (True, False): noted("Until it stands ready it comes to {total}."),
    (False, True): noted("As it stands it comes to {total}: {lines}."),
    (False, False): noted("As it stands it comes to {total}."),
}
"""By whether what it takes to stand ready is known, and whether there is more than the price."""

_READY: Final = {
    "unknown": noted(
        "The same car ready to drive fetches {price}. What it takes to get there is not known: have the car "
        "inspected."
    ),
    "bought": noted(
        "The same car ready to drive fetches {price}: in {cases} you would have paid more than it fetches."
    ),
    "mended": noted("The same car ready to drive fetches {price}: in {cases} mending it loses money."),
}
"""The same car ready to drive, by what the price asked is held against."""


_ARGUMENTS: Final = {
    "repairs": noted("Putting right what the inspection found costs {low} to {high}."),
    "repairs seen in part": noted(
        "Putting right what the inspection found ({share} of what counts seen) costs {low} to {high}."
    ),
    "like sales": noted(
        "{count} of {of} sold like this one in the last {years} years brought less than {price}."
    ),
    "model sales": noted(
        "{count} of {of} of this model sold, in any condition, in the last {years} years brought less than "
        "{price}."
    ),
    "gap": noted("Asking prices like this stand {share} above what is paid in the end: that makes {price}."),
    "unsold": noted(
        "Of {of} of this model put up at auction in the last {years} years, {count} found no buyer."
    ),
}
"""What is said to the seller, by the kind of ``Argument``."""


def argument_sentence(argument: Argument, words: LocaleWords = PLAIN) -> str:
    """One thing to say to the seller, as the records support it.

    >>> argument_sentence(Argument("unsold", "EUR", count=3, of=9))
    'Of 9 of this model put up at auction in the last 2 years, 3 found no buyer.'
    """
    kind, amount, most, share = argument.kind, argument.amount, argument.most, argument.share
    if kind == "repairs" and share is not None and share < 0.995:
        kind = "repairs seen in part"
    values: dict[str, object] = {"count": argument.count, "of": argument.of, "years": YEARS}
    if amount is not None:
        about, whole = words.about(amount, argument.currency), words.whole(amount, argument.currency)
        values |= {"price": about if kind == "gap" else whole, "low": about}
    if most is not None:
        values["high"] = words.about(most, argument.currency)
    return words.say(_ARGUMENTS[kind], **values, share="" if share is None else words.share(share))


def argument_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """What to say to the seller."""
    return [argument_sentence(argument, words) for argument in facts.arguments]


def limit_sentence(facts: Buying, limit: Limit, name: str) -> str:
    """A limit with the certainty it rests on."""
    sure, worth = f"{limit.certainty:.0%}", money_words(limit.worth, facts.currency)
    if limit.price is None:
        return (
            f"{name}: none. With {sure} certainty the car fetches {worth}, and what stands beside the price "
            "alone costs more."
        )
    return (
        f"{name}: {exact_words(limit.price, facts.currency)} ({facts.price_basis}). With {sure} certainty a "
        f"car like this fetches at least {worth}; at this price it costs no more than that."
    )


def limit_sentences(facts: Buying) -> list[str]:
    """Walk-away price and opening offer, and where the asking price lies to them."""
    limits = [
        limit_sentence(facts, facts.walk_away, "Walk away above"),
        limit_sentence(facts, facts.opening, "Open at"),
    ]
    if facts.asking is None or facts.walk_away.price is None:
        return limits
    apart = facts.asking - facts.walk_away.price
    side = f"{exact_words(abs(apart), facts.currency)} {'above' if apart > 0 else 'below'} " if apart else ""
    return [*limits, f"What is asked is {side}the walk-away price."]


def mended_limit_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """Where to stop for who will have it mended."""
    limit = facts.mended_limit
    if limit is None:
        return []
    values = {"sure": words.share(limit.certainty), "basis": words.word(facts.price_basis)}
    if limit.price is None:
        return [
            words.say(
                "If all that was found is to be put right: at no price; with {sure} certainty even a gift "
                "costs more in the end than the same car ready to drive.",
                **values,
            )
        ]
    return [
        words.say(
            "If all that was found is to be put right: stop at {price} ({basis}), to have put in no more "
            "than the same car ready to drive fetches, with {sure} certainty.",
            price=words.whole(limit.price, facts.currency), **values,
        )
    ]  # fmt: skip


def alternative_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """What else the money buys, a sentence for each amount of it."""
    base, sentences = facts.valuation.currency, []
    for (name,), rows in facts.alternatives.group_by("at", maintain_order=True):
        first = rows.row(0, named=True)
        car = words.say(
            "{car} of about {year} in {band}",
            car=name_words(first, "make", "model", "variant"), year=first["year"],
            band=words.word(first["condition_band"]),
        )  # fmt: skip
        amounts = {end: words.about(first[end], base) for end in ("budget", "low", "mid", "high")}
        sentences.append(
            words.say(
                "For {name} ({budget}): {count} others, the nearest in use: {car}, {low} to {high}, half "
                "below {mid} (evidence: {depth}).",
                name=words.word(str(name)), count=len(rows), car=car, **amounts,
                depth=words.word(first["evidence"]),
            )
        )  # fmt: skip
    return sentences or [words.say("The same money elsewhere: nothing on record fits.")]


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
