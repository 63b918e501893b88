"""What the facts for a seller say, in sentences."""

from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.decisions.sell.channel_sale import HORIZON, WEEKS_TO_AUCTION, ChannelSale
from pricing.decisions.sell.selling import Selling
from pricing.decisions.sell.time_to_sale import TimeToSale
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import number_words
from pricing.words.sentences import cases_words, money_words, range_sentence

WHERE: Final = {
    "auction": noted("at auction"), "dealer": noted("through a dealer"), "private": noted("privately"),
}  # fmt: skip

_ADVICE: Final = {
    "ask": noted("Sell {where}: ask {price}"),
    "reserve": noted("Sell {where}: with a reserve of {price}"),
    "none": noted("Sell {where}: without a reserve"),
}


def advice_sentences(facts: Selling, words: LocaleWords = PLAIN) -> list[str]:
    """Where to sell, what to ask, what to expect and when; then what the other ways leave."""
    currency, best = facts.currency, facts.best
    price = facts.auction.reserve if best.asking is None else best.asking
    how = "ask" if best.asking is not None else "reserve" if price else "none"
    amount = words.whole(price, currency) if price else ""
    advice = words.say(_ADVICE[how], where=words.word(WHERE[best.channel]), price=amount)
    if best.net is not None:
        net = words.about(best.net.mid, currency)
        advice = words.say("{advice}, expect {price} after charges", advice=advice, price=net)
    if best.weeks is None:
        timed = words.say("{advice}; in how long is not known.", advice=advice)
    else:
        timed = words.many(
            "{advice} in about {number} week.", "{advice} in about {number} weeks.", round(best.weeks),
            advice=advice,
        )  # fmt: skip
    others = ", ".join(
        f"{words.word(WHERE[sale.channel])} {words.about(sale.left, currency)}"
        for sale in facts.channels
        if sale.channel != best.channel
    )
    per_cent = 100 * float(facts.terms.discount)
    left = words.say(
        "On average {left} is left, brought to today; {others}. A month later counts for {discount} less: "
        "the sooner the money is wanted, the more is to be taken off.",
        left=words.about(best.left, currency), others=others,
        discount=words.per_cent(per_cent, 0 if per_cent == round(per_cent) else 1, sign=False),
    )  # fmt: skip
    return [timed, left]


def channel_sentence(facts: Selling, sale: ChannelSale, words: LocaleWords = PLAIN) -> str:
    """Net proceeds on one channel, with the chance and the wait."""
    currency, channel = facts.currency, capital(words.word(sale.channel))
    if sale.net is None or sale.paid is None:
        proceeds = words.say("{channel}: no sale comes about on these terms.", channel=channel)
    else:
        net, paid = sale.net, words.about(sale.paid.mid, currency)
        low, mid, high = (words.about(end, currency) for end in (net.low, net.mid, net.high))
        proceeds = words.say(
            "{channel}: of what a buyer pays, {paid} in the middle, a sale leaves {mid}, eight times in ten "
            "{low} to {high}.",
            channel=channel, paid=paid, mid=mid, low=low, high=high,
        )  # fmt: skip
    left = words.about(sale.left, currency)
    sentences = [
        proceeds,
        *_chance(facts, sale, words),
        words.say("Left on average, sold or not, brought to today: {left}.", left=left),
    ]
    if sale.open_lines:
        lines = ", ".join(words.word(line) for line in sale.open_lines)
        sentences.append(words.say("Nothing taken off for: {lines}.", lines=lines))
    return " ".join(sentences)


def _chance(facts: Selling, sale: ChannelSale, words: LocaleWords) -> list[str]:
    """How likely a sale is at what is asked."""
    asking = None if sale.asking is None else words.whole(sale.asking, facts.currency)
    if sale.chance is None:
        first = [] if asking is None else [words.say("Asked at {price}.", price=asking)]
        return [*first, words.say("The chance of a sale is unknown.")]
    reserve, weeks, half = facts.auction.reserve, str(HORIZON), ""
    if asking is None:
        weeks, kind = f"{WEEKS_TO_AUCTION:.0f}", "reserve" if reserve else "no reserve"
        asking = words.whole(reserve, facts.currency) if reserve else ""
    elif sale.weeks is None:
        kind = "asking"
    else:
        kind, half = "asking, half", words.number(sale.weeks)
    chance = words.share(sale.chance)
    return [words.say(_CHANCES[kind], price=asking, chance=chance, weeks=weeks, half=half)]


_CHANCES: Final = {
    "no reserve": noted(
        "With no reserve {chance} of such lots sell, in about {weeks} weeks (common practice, no source)."
    ),
    "reserve": noted(
        "With a reserve of {price} {chance} of such lots sell, in about {weeks} weeks (common practice, no "
        "source)."
    ),
    "asking": noted("Asked at {price} at first, {chance} sell within {weeks} weeks."),
    "asking, half": noted(
        "Asked at {price} at first, {chance} sell within {weeks} weeks, half within {half}."
    ),
}
"""By what is asked, and whether half of such cars sell in time."""


def unsold_sentence(facts: Selling, words: LocaleWords = PLAIN) -> str:
    """What a car that does not sell counts as."""
    if facts.terms.own_value is not None:
        return words.say(
            "A car that does not sell counts as {price}, its worth to you, less fees.",
            price=words.whole(facts.terms.own_value, facts.currency),
        )
    return words.say(
        "A car that does not sell is offered on: at the next auction without a reserve, elsewhere until a "
        "buyer comes; say what it is worth to you unsold to have it kept instead."
    )


def auction_sentences(facts: Selling, words: LocaleWords = PLAIN) -> list[str]:
    """Reserve and estimate."""
    auction, lots = facts.auction, facts.auction.evidence

    def whole(amount: Decimal) -> str:
        return words.whole(amount, facts.currency)

    sentences = []
    if lots.tells:
        sentences += [
            words.say(
                "The reserve that leaves most ({left} on average): {reserve}.",
                left=words.about(auction.best_left, facts.currency),
                reserve=whole(auction.best) if auction.best else words.say("none"),
            ),
            words.say(
                "On record are {lots} lots, {unsold} of them unsold.",
                lots=words.number(lots.lots), unsold=words.number(lots.unsold),
            ),
        ]  # fmt: skip
        if lots.sold is not None and lots.expected is not None:
            sentences.append(
                words.say(
                    "Of {lots} lots with a known reserve {sold} sold; {expected} would be expected for cars "
                    "like these. Whoever set those reserves had seen the car.",
                    lots=words.number(lots.with_reserve), sold=words.share(lots.sold),
                    expected=words.share(lots.expected),
                )
            )  # fmt: skip
    low, high, custom = auction.low_estimate, auction.high_estimate, auction.customary_low
    if low is None or high is None:
        return sentences
    sentences.append(words.say("Estimate: {low} to {high} (hammer).", low=whole(low), high=whole(high)))
    if auction.reserve > low:
        sentences.append(
            words.say(
                "By custom the reserve is at or below the low estimate: a reserve of {price} asks for a "
                "higher one.",
                price=whole(auction.reserve),
            )
        )
    elif custom is not None and low > custom:
        sentences.append(
            words.say(
                "The records lead to a low estimate of {price}; the reserve moves it up, and a dear estimate "
                "keeps bidders away (common practice, no source).",
                price=whole(custom),
            )
        )
    return sentences


def waiting_sentences(facts: Selling) -> list[str]:
    """How long cars stand for sale, whether what is asked has made a difference, and how much."""
    if facts.waits is None or facts.slower is None:
        return []
    sentences = []
    half = facts.waits.filter(facts.waits["share"] <= 0.5)
    if half.height:
        weeks = half["days"][0] / 7
        sentences.append(f"Half the cars on record were sold within {weeks:.0f} weeks, whatever was asked.")
    if not facts.price_tells:
        sentences.append(
            "The records do not show that cars at a higher asking price took longer to sell "
            f"(p = {facts.slower:.2f}), so the steps advised below are those customary in the trade."
        )
    elif facts.times is not None:
        sentences.append(pace_sentence(facts.times))
    return sentences


def pace_sentence(times: TimeToSale) -> str:
    """What a dearer price does to the wait, and whether the error of the mid prices is allowed for."""
    longer = 1.1**times.elasticity - 1.0
    if not times.corrected:
        return (
            f"A price 10% higher takes at least {longer:.0%} longer to sell; by how much more, "
            f"{number_words(times.offers)} listings cannot tell, because the mid prices that they are held "
            f"against are themselves off by some {times.mid_error:.0%}."
        )
    without = 1.1**times.uncorrected - 1.0
    allowed = (
        f", the error of the mid prices, some {times.mid_error:.0%}, allowed for (without that {without:.0%})"
    )
    return f"A price 10% higher takes {longer:.0%} longer to sell{allowed if times.mid_error else ''}."


def bargain_sentence(facts: Selling) -> str:
    """How far buyers bargain, which bounds what a dear asking price can do."""
    behind = f"of {number_words(facts.pairs)} pairs" if facts.pairs else "an assumption, for want of pairs"
    return (
        f"Nine sales in ten were made at {1.0 / facts.bargained:.0%} or more of what was asked ({behind}): "
        "asked much too high, a car draws no offers."
    )


def what_if_sentence(facts: Selling, row: dict[str, Any]) -> str:
    """One row of ``facts.first``; words of cause only where cars sold before and after speak for it."""
    currency, compared = facts.currency, f"{row['pairs'] or 'none'} on record"
    after, gain = money_words(row["net_after"], currency), money_words(abs(row["gain"]), currency)
    more = f"{gain} {'more' if row['gain'] >= 0 else 'less'}"
    match row["kind"], row["supported"]:
        case "paper", True:
            effect = f"it brings {more} ({row['pairs']} cars sold before and after say so)."
        case "paper", _:
            effect = (
                f"cars that have it bring {more}; whether the paper is the reason is not known (comparisons "
                f"of one car without and with it: {compared})."
            )
        case _, True:
            effect = f"the sale then leaves {after}, {more}."
        case _:
            effect = (
                f"cars in that state also bring {more}, which would leave {after}; whether the repair is the "
                f"reason is not known (comparisons of one car before and after: {compared})."
            )
    what = f"{'Document' if row['kind'] == 'paper' else 'Mend'} it ({row['item']}): {effect}"
    if row["cost_mid"] is None:
        return f"{what} Worth it if it costs less than that to get."
    answer = "worth doing" if row["left"] > 0 else "leave it"
    cost, cases = money_words(row["cost_mid"], currency), cases_words(row["pays"])
    return f"{what} It costs {cost}: {answer}, it pays in {cases}."


def first_sentences(facts: Selling) -> list[str]:
    """What is worth doing first, and what is not, or the usual answer."""
    worth = facts.first.filter(pl.col("left").fill_null(pl.col("gain")) > 0)
    sentences = [what_if_sentence(facts, row) for row in worth.iter_rows(named=True)]
    left = ", ".join(facts.first.filter(pl.col("left") <= 0)["item"].head(6))
    if left:
        sentences.append(f"Leave: {left}. On average each costs more than a sale then brings.")
    return sentences or ["Nothing is on the list of what to do first: leave the car as it is."]


def selling_sentences(facts: Selling) -> list[str]:
    """Everything in the order a seller needs it."""
    return [
        *advice_sentences(facts),
        *([range_sentence(facts.valuation)] if facts.valuation.opinion_alone else []),
        *(channel_sentence(facts, sale) for sale in facts.channels),
        unsold_sentence(facts),
        *auction_sentences(facts),
        *waiting_sentences(facts),
        bargain_sentence(facts),
        *first_sentences(facts),
        *facts.unknown,
        f"Charges: {facts.rates}",
    ]
