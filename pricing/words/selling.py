"""What the facts for a seller say, in sentences."""

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
    reserve = facts.auction.reserve
    how = "ask" if best.asking is not None else "reserve" if reserve else "none"
    price = best.asking if best.asking is not None else reserve
    advice = words.say(
        _ADVICE[how], where=words.word(WHERE[best.channel]),
        price=words.whole(price, currency) if price else "",
    )  # fmt: skip
    if best.net is not None:
        advice = words.say(
            "{advice}, expect {price} after charges", advice=advice, price=words.about(best.net.mid, currency)
        )
    if best.weeks is None:
        said = words.say("{advice}; in how long is not known.", advice=advice)
    else:
        weeks = round(best.weeks)
        said = words.many(
            "{advice} in about {number} week.", "{advice} in about {number} weeks.", weeks, advice=advice
        )
    others = ", ".join(
        f"{words.word(WHERE[found.channel])} {words.about(found.left, currency)}"
        for found in facts.channels
        if found.channel != best.channel
    )
    left = words.say(
        "On average {left} is left, brought to today; {others}. A month later counts for {discount} less: "
        "the sooner the money is wanted, the more is to be taken off.",
        left=words.about(best.left, currency), others=others, discount=_discount(facts, words),
    )  # fmt: skip
    return [said, left]


def _discount(facts: Selling, words: LocaleWords) -> str:
    per_cent = 100 * float(facts.terms.discount)
    return words.per_cent(per_cent, 0 if per_cent == round(per_cent) else 1, sign=False)


def channel_sentence(facts: Selling, found: ChannelSale, words: LocaleWords = PLAIN) -> str:
    """Net proceeds on one channel, with the chance and the wait."""
    currency, channel = facts.currency, capital(words.word(found.channel))
    if found.net is None or found.paid is None:
        said = [words.say("{channel}: no sale comes about on these terms.", channel=channel)]
    else:
        low, mid, high = (
            words.about(net, currency) for net in (found.net.low, found.net.mid, found.net.high)
        )
        said = [
            words.say(
                "{channel}: of what a buyer pays, {paid} in the middle, a sale leaves {mid}, eight times in "
                "ten {low} to {high}.",
                channel=channel, paid=words.about(found.paid.mid, currency), mid=mid, low=low, high=high,
            )
        ]  # fmt: skip
    said += [
        *_chance(facts, found, words),
        words.say(
            "Left on average, sold or not, brought to today: {left}.", left=words.about(found.left, currency)
        ),
    ]
    if found.open_lines:
        lines = ", ".join(words.word(line) for line in found.open_lines)
        said.append(words.say("Nothing taken off for: {lines}.", lines=lines))
    return " ".join(said)


def _chance(facts: Selling, found: ChannelSale, words: LocaleWords) -> list[str]:
    """How likely a sale is at what is asked."""
    asked = None if found.asking is None else words.whole(found.asking, facts.currency)
    if found.chance is None:
        first = [] if asked is None else [words.say("Asked at {price}.", price=asked)]
        return [*first, words.say("The chance of a sale is unknown.")]
    if asked is None:
        reserve = facts.auction.reserve
        values = {"chance": words.share(found.chance), "weeks": f"{WEEKS_TO_AUCTION:.0f}"}
        if not reserve:
            return [
                words.say(
                    "With no reserve {chance} of such lots sell, in about {weeks} weeks (common practice, no "
                    "source).",
                    **values,
                )
            ]
        return [
            words.say(
                "With a reserve of {price} {chance} of such lots sell, in about {weeks} weeks (common "
                "practice, no source).",
                **values, price=words.whole(reserve, facts.currency),
            )
        ]  # fmt: skip
    values = {"price": asked, "chance": words.share(found.chance), "weeks": str(HORIZON)}
    if found.weeks is None:
        return [words.say("Asked at {price} at first, {chance} sell within {weeks} weeks.", **values)]
    return [
        words.say(
            "Asked at {price} at first, {chance} sell within {weeks} weeks, half within {half}.",
            **values, half=words.number(found.weeks),
        )
    ]  # fmt: skip


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
    found, currency = facts.auction, facts.currency
    lots = found.evidence
    said = []
    if lots.tells:
        said += [
            words.say(
                "The reserve that leaves most ({left} on average): {reserve}.",
                left=words.about(found.best_left, currency),
                reserve=words.whole(found.best, currency) if found.best else words.say("none"),
            ),
            words.say(
                "On record are {lots} lots, {unsold} of them unsold.",
                lots=words.number(lots.lots), unsold=words.number(lots.unsold),
            ),
        ]  # fmt: skip
        if lots.sold is not None and lots.expected is not None:
            said.append(
                words.say(
                    "Of {lots} lots with a known reserve {sold} sold; {expected} would be expected for cars "
                    "like these. Whoever set those reserves had seen the car.",
                    lots=words.number(lots.with_reserve), sold=words.share(lots.sold),
                    expected=words.share(lots.expected),
                )
            )  # fmt: skip
    low, high, custom = found.low_estimate, found.high_estimate, found.customary_low
    if low is not None and high is not None:
        said.append(
            words.say(
                "Estimate: {low} to {high} (hammer).",
                low=words.whole(low, currency), high=words.whole(high, currency),
            )
        )  # fmt: skip
        if found.reserve > low:
            said.append(
                words.say(
                    "By custom the reserve is at or below the low estimate: a reserve of {price} asks for a "
                    "higher one.",
                    price=words.whole(found.reserve, currency),
                )
            )
        elif custom is not None and low > custom:
            said.append(
                words.say(
                    "The records lead to a low estimate of {price}; the reserve moves it up, and a dear "
                    "estimate keeps bidders away (common practice, no source).",
                    price=words.whole(custom, currency),
                )
            )
    return said


def waiting_sentences(facts: Selling) -> list[str]:
    """How long cars stand for sale, whether what is asked has made a difference, and how much."""
    if facts.waits is None or facts.slower is None:
        return []
    said = []
    half = facts.waits.filter(facts.waits["share"] <= 0.5)
    if half.height:
        weeks = half["days"][0] / 7
        said.append(f"Half the cars on record were sold within {weeks:.0f} weeks, whatever was asked.")
    if not facts.price_tells:
        said.append(
            "The records do not show that cars at a higher asking price took longer to sell "
            f"(p = {facts.slower:.2f}), so the steps advised below are those customary in the trade."
        )
    elif facts.times is not None:
        said.append(pace_sentence(facts.times))
    return said


def pace_sentence(times: TimeToSale) -> str:
    """What a dearer price does to the wait, and whether the error of the mid prices is allowed for."""
    longer = 1.1**times.elasticity - 1.0
    if not times.corrected:
        return (
            f"A price 10% higher takes at least {longer:.0%} longer to sell; by how much more, "
            f"{number_words(times.offers)} listings cannot tell, because the mid prices that they are held "
            f"against are themselves off by some {times.mid_error:.0%}."
        )
    allowed = (
        ""
        if times.mid_error == 0.0
        else f", the error of the mid prices, some {times.mid_error:.0%}, allowed for (without that "
        f"{1.1**times.uncorrected - 1.0:.0%})"
    )
    return f"A price 10% higher takes {longer:.0%} longer to sell{allowed}."


def bargain_sentence(facts: Selling) -> str:
    """How far buyers bargain, which bounds what a dear asking price can do."""
    behind = f"of {number_words(facts.pairs)} pairs" if facts.pairs else "an assumption, for want of pairs"
    return (
        f"Nine sales in ten were made at {1.0 / facts.bargained:.0%} or more of what was asked ({behind}): "
        "asked much too high, a car draws no offers."
    )


def what_if_sentence(facts: Selling, row: dict[str, Any]) -> str:
    """One row of ``facts.first``; words of cause only where cars sold before and after speak for it."""
    currency = facts.currency
    after, gain = money_words(row["net_after"], currency), money_words(abs(row["gain"]), currency)
    more = "more" if row["gain"] >= 0 else "less"
    if row["kind"] == "paper":
        what = f"Document it ({row['item']})"
        if row["supported"]:
            said = f"{what}: it brings {gain} {more} ({row['pairs']} cars sold before and after say so)."
        else:
            said = (
                f"{what}: cars that have it bring {gain} {more}; whether the paper is the reason is not "
                f"known (comparisons of one car without and with it: {_pairs(row['pairs'])})."
            )
    elif row["supported"]:
        said = f"Mend it ({row['item']}): the sale then leaves {after}, {gain} {more}."
    else:
        said = (
            f"Mend it ({row['item']}): cars in that state also bring {gain} {more}, which would leave "
            f"{after}; whether the repair is the reason is not known (comparisons of one car before and "
            f"after: {_pairs(row['pairs'])})."
        )
    if row["cost_mid"] is None:
        return f"{said} Worth it if it costs less than that to get."
    cost = money_words(row["cost_mid"], currency)
    answer = "Worth doing" if row["left"] > 0 else "Leave it"
    return f"{said} It costs {cost}: {answer.lower()}, it pays in {cases_words(row['pays'])}."


def _pairs(pairs: int) -> str:
    """How many comparisons there are.

    >>> _pairs(0), _pairs(3)
    ('none on record', '3 on record')
    """
    return f"{pairs or 'none'} on record"


def first_sentences(facts: Selling) -> list[str]:
    """What is worth doing first, and what is not, or the usual answer."""
    worth = facts.first.filter(pl.col("left").fill_null(pl.col("gain")) > 0)
    said = [what_if_sentence(facts, row) for row in worth.iter_rows(named=True)]
    left = facts.first.filter(pl.col("left") <= 0)
    if left.height:
        said.append(
            f"Leave: {', '.join(left['item'].head(6))}. On average each costs more than a sale then brings."
        )
    return said or ["Nothing is on the list of what to do first: leave the car as it is."]


def selling_sentences(facts: Selling) -> list[str]:
    """Everything in the order a seller needs it."""
    return [
        *advice_sentences(facts),
        *([range_sentence(facts.valuation)] if facts.valuation.opinion_alone else []),
        *(channel_sentence(facts, found) for found in facts.channels),
        unsold_sentence(facts),
        *auction_sentences(facts),
        *waiting_sentences(facts),
        bargain_sentence(facts),
        *first_sentences(facts),
        *facts.unknown,
        f"Charges: {facts.rates}",
    ]


def proceeds_caption() -> str:
    """What ``selling_charts.proceeds_chart`` shows."""
    return (
        "Each bar runs over eight sales in ten, paid and left of the same draws; the notch is the middle. "
        "What is left is after commission and fees."
    )


def reserve_caption() -> str:
    """What ``selling_charts.reserve_chart`` shows."""
    return "The chance that a lot like this one sells, against its reserve; dashed is the reserve looked at."
