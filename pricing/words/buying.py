"""What the facts for a buyer say, in sentences. Amounts are in the offer's currency unless said otherwise."""

from decimal import Decimal
from typing import Final

from pricing.decisions.buying import Buying, Limit
from pricing.words.sentences import day_words, exact_words, money_words, range_sentence, share_words

LINE_WORDS: Final = {
    "price": "price",
    "premium": "buyer's premium with its tax",
    "transport": "transport",
    "import duty": "import duty",
    "import tax": "import tax",
    "first repairs": "first repairs",
}


def cents_words(amount: Decimal, currency: str) -> str:
    """An amount to the smallest unit.

    >>> cents_words(Decimal("1234.50"), "EUR")
    'EUR 1,234.50'
    """
    return f"{currency} {amount:,}"


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


def asking_sentences(facts: Buying) -> list[str]:
    """Where the asking price stands, before and after the gap from asking to sold."""
    if facts.asking is None or facts.standing is None:
        return ["No price is asked: the lot goes to the highest bid."]
    asked = exact_words(facts.asking, facts.currency)
    paid = (
        ""
        if facts.asking_all_in == facts.asking or facts.asking_all_in is None
        else f", which comes to {cents_words(facts.asking_all_in, facts.currency)} with the premium"
    )
    said = [f"At {asked}{paid}, {share_words(facts.standing)} like cars would sell for less."]
    if facts.gap is None:
        if facts.price_basis != "hammer":
            said.append("What such an asking price usually comes down to is not known from the records.")
    elif facts.after_gap is not None and facts.standing_after_gap is not None:
        gap = facts.gap
        said.append(
            f"On this channel ({gap.channel}) what is asked stands {100 * (gap.factor - 1):+.0f} % "
            f"to what cars "
            f"sell for ({100 * (gap.low - 1):+.0f} % to {100 * (gap.high - 1):+.0f} %): this price would "
            f"usually come to {money_words(facts.after_gap, facts.currency)}, and then "
            f"{share_words(facts.standing_after_gap)} like cars sell for less."
        )
    return said


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


def cost_sentence(facts: Buying) -> str:
    """What day one comes to, and what is not in it."""
    missing = (
        f" Not in it, because nothing was said: {', '.join(facts.open_lines)}." if facts.open_lines else ""
    )
    if facts.total is None:
        return f"No total without a price.{missing}"
    return f"On day one it comes to {cents_words(facts.total, facts.currency)}.{missing}"


def elsewhere_sentence(facts: Buying) -> str:
    """What else the money buys."""
    others = facts.elsewhere
    base = facts.valuation.currency
    if others.is_empty():
        return "The same money elsewhere: nothing on record fits."
    first = others.row(0, named=True)
    name = " ".join(str(first[part]) for part in ("make", "model", "variant") if first[part] is not None)
    return (
        f"The same money elsewhere: {len(others)} fit, the best band first. {name} in "
        f"{first['condition_band']}: "
        f"{money_words(first['low'], base)} to {money_words(first['high'], base)}, half below "
        f"{money_words(first['mid'], base)}."
    )


def buying_sentences(facts: Buying) -> list[str]:
    """Everything in the order a buyer needs it."""
    return [
        range_sentence(facts.valuation),
        *asking_sentences(facts),
        *limit_sentences(facts),
        cost_sentence(facts),
        elsewhere_sentence(facts),
    ]


def limits_caption(facts: Buying) -> str:
    """What ``buying_charts.limits_chart`` shows."""
    asked = "" if facts.asking is None else " The thick line is the price asked."
    return (
        "The curve is the share of like cars that sell for less than each price, all-in. The dashed "
        "lines are the "
        f"walk-away price and the opening offer, all-in.{asked}"
    )
