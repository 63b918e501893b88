"""What the facts for a buyer say, in sentences. Amounts are in the offer's currency unless said otherwise."""

import re
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.decisions.amounts import Range
from pricing.decisions.buy.arguments import YEARS, Argument
from pricing.decisions.buy.buying import Buying, Limit
from pricing.words.approaches import difference_sentence
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.reader import cents
from pricing.words.language.told import told
from pricing.words.sentences import cases_words, exact_words, money_words, range_sentence, share_words

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
    base = facts.valuation.currency
    said = words.say(
        "Limits are {basis} prices in {currency} at {day}.",
        basis=words.word(facts.price_basis), currency=facts.currency, day=words.day(facts.valuation.as_of),
    )  # fmt: skip
    if facts.currency == base:
        return said
    rate = words.say(
        "The range is in {currency}; amounts are turned at the rate of {day}.",
        currency=base, day=words.day(facts.conversion.rate_date),
    )  # fmt: skip
    return f"{said} {rate}"


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
    days = ", ".join(told(found, words) for found in _IN_FORCE.findall(rates))
    said = f"{words.word(name)}: {days}."
    return said if notice == "." else f"{said} {words.word(notice)}"


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
    return words.say(
        "{asked} ({paid} with the premium) is {verdict} what like cars fetch: {share} sell for less.",
        **values, paid=words.exact(facts.asking_all_in, facts.currency),
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
    missing = [] if not facts.open_lines else [
        words.say(
            "Not in it, because nothing was said: {lines}.",
            lines=", ".join(words.word(line) for line in facts.open_lines),
        )
    ]  # fmt: skip
    if facts.total is None:
        return [" ".join([words.say("No total without a price."), *missing])]
    parts = facts.day_one.filter(pl.col("mid").is_not_null())["line"].to_list()
    values = {
        "total": span_words(facts.total, facts.currency, words),
        "lines": ", ".join(words.word(LINE_WORDS[part]) for part in parts),
    }
    ready, several = facts.loses is not None, len(parts) > 1
    first = words.say(_TOTALS[ready, several], **values)
    fetches = span_words(facts.ready, facts.currency, words)
    if facts.loses is None:
        same = words.say(
            "The same car ready to drive fetches {price}. What it takes to get there is not known: have the "
            "car inspected.",
            price=fetches,
        )
    elif facts.repairs is None:
        same = words.say(
            "The same car ready to drive fetches {price}: in {cases} you would have paid more than it "
            "fetches.",
            price=fetches, cases=cases_words(facts.loses, words),
        )  # fmt: skip
    else:
        same = words.say(
            "The same car ready to drive fetches {price}: in {cases} mending it loses money.",
            price=fetches, cases=cases_words(facts.loses, words),
        )  # fmt: skip
    return [" ".join([first, *missing]), same]


_TOTALS: Final = {
    (True, True): noted("Until it stands ready it comes to {total}: {lines}."),
    (True, False): noted("Until it stands ready it comes to {total}."),
    (False, True): noted("As it stands it comes to {total}: {lines}."),
    (False, False): noted("As it stands it comes to {total}."),
}
"""By whether what it takes to stand ready is known, and whether there is more than the price."""


def argument_sentence(said: Argument, words: LocaleWords = PLAIN) -> str:
    """One thing to say to the seller, as the records support it.

    >>> argument_sentence(Argument("unsold", "EUR", count=3, of=9))
    'Of 9 of this model put up at auction in the last 2 years, 3 found no buyer.'
    """
    values = {"count": said.count, "of": said.of, "years": YEARS}
    match said.kind:
        case "repairs" if said.amount is not None and said.most is not None:
            ends = {
                "low": words.about(said.amount, said.currency), "high": words.about(said.most, said.currency),
            }  # fmt: skip
            if said.share is None or said.share >= 0.995:
                return words.say("Putting right what the inspection found costs {low} to {high}.", **ends)
            return words.say(
                "Putting right what the inspection found ({share} of what counts seen) costs {low} to "
                "{high}.",
                **ends, share=words.share(said.share),
            )  # fmt: skip
        case "like sales" if said.amount is not None:
            return words.say(
                "{count} of {of} sold like this one in the last {years} years brought less than {price}.",
                **values, price=words.whole(said.amount, said.currency),
            )  # fmt: skip
        case "model sales" if said.amount is not None:
            return words.say(
                "{count} of {of} of this model sold, in any condition, in the last {years} years brought "
                "less than {price}.",
                **values, price=words.whole(said.amount, said.currency),
            )  # fmt: skip
        case "gap" if said.amount is not None and said.share is not None:
            return words.say(
                "Asking prices like this stand {share} above what is paid in the end: that makes {price}.",
                share=words.share(said.share), price=words.about(said.amount, said.currency),
            )  # fmt: skip
        case _:
            return words.say(
                "Of {of} of this model put up at auction in the last {years} years, {count} found no buyer.",
                **values,
            )


def argument_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """What to say to the seller."""
    return [argument_sentence(said, words) for said in facts.arguments]


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


def mended_limit_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """Where to stop for who will have it mended."""
    limit = facts.mended_limit
    if limit is None:
        return []
    sure = words.share(limit.certainty)
    if limit.price is None:
        return [
            words.say(
                "If all that was found is to be put right: at no price; with {sure} certainty even a gift "
                "costs more in the end than the same car ready to drive.",
                sure=sure,
            )
        ]
    return [
        words.say(
            "If all that was found is to be put right: stop at {price} ({basis}), to have put in no more "
            "than the same car ready to drive fetches, with {sure} certainty.",
            price=words.whole(limit.price, facts.currency), basis=words.word(facts.price_basis), sure=sure,
        )
    ]  # fmt: skip


def other_car_words(row: dict[str, Any], words: LocaleWords = PLAIN) -> str:
    """A car out of ``Buying.alternatives`` in a line."""
    name = " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)
    return words.say(
        "{car} of about {year} in {band}", car=name, year=row["year"], band=words.word(row["condition_band"])
    )


def alternative_sentences(facts: Buying, words: LocaleWords = PLAIN) -> list[str]:
    """What else the money buys, a sentence for each amount of it."""
    base = facts.valuation.currency
    said = []
    for (name,), rows in facts.alternatives.group_by("at", maintain_order=True):
        first = rows.row(0, named=True)
        said.append(
            words.say(
                "For {name} ({budget}): {count} others, the nearest in use: {car}, {low} to {high}, half "
                "below {mid} (evidence: {depth}).",
                name=words.word(str(name)), budget=words.about(first["budget"], base), count=len(rows),
                car=other_car_words(first, words), low=words.about(first["low"], base),
                high=words.about(first["high"], base), mid=words.about(first["mid"], base),
                depth=words.word(first["evidence"]),
            )
        )  # fmt: skip
    return said or [words.say("The same money elsewhere: nothing on record fits.")]


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
