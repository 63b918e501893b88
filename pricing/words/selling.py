"""What the facts for a seller say, in sentences."""

from typing import Any

import polars as pl

from pricing.decisions.channel_sale import WEEKS_TO_AUCTION, ChannelSale
from pricing.decisions.selling import Selling
from pricing.decisions.time_to_sale import TimeToSale
from pricing.decisions.waiting import HORIZON
from pricing.words.reader import number_words
from pricing.words.sentences import cases_words, exact_words, money_words, range_sentence

WHERE = {"auction": "at auction", "dealer": "through a dealer", "private": "privately"}


def advice_sentences(facts: Selling) -> list[str]:
    """Where to sell, what to ask, what to expect and when; then what the other ways leave."""
    currency, best = facts.currency, facts.best
    said = f"Sell {WHERE[best.channel]}"
    if best.asking is not None:
        said += f": ask {exact_words(best.asking, currency)}"
    elif facts.auction.reserve:
        said += f": with a reserve of {exact_words(facts.auction.reserve, currency)}"
    else:
        said += ": without a reserve"
    if best.net is not None:
        said += f", expect {money_words(best.net.mid, currency)} after charges"
    said += f" in about {best.weeks:.0f} weeks." if best.weeks is not None else "; in how long is not known."
    elsewhere = [
        f"{WHERE[found.channel]} {money_words(found.left, currency)}"
        for found in facts.channels
        if found.channel != best.channel
    ]
    others = ", ".join(elsewhere)
    discount = facts.terms.discount
    return [
        said,
        f"On average {money_words(best.left, currency)} is left, brought to today; {others}. A month later "
        f"counts for {100 * discount:g}% less: the sooner the money is wanted, the more is to be taken off.",
    ]


def channel_sentence(facts: Selling, found: ChannelSale) -> str:
    """Net proceeds on one channel, with the chance and the wait."""
    currency = facts.currency
    if found.net is None or found.paid is None:
        said = f"{found.channel.capitalize()}: no sale comes about on these terms."
    else:
        low, mid, high = (
            money_words(net, currency) for net in (found.net.low, found.net.mid, found.net.high)
        )
        said = (
            f"{found.channel.capitalize()}: of what a buyer pays, {money_words(found.paid.mid, currency)} in "
            f"the middle, a sale leaves {mid}, eight times in ten {low} to {high}."
        )
    asked = None if found.asking is None else exact_words(found.asking, currency)
    if found.chance is None:
        said += "" if asked is None else f" Asked at {asked}."
        said += " The chance of a sale is unknown."
    elif asked is None:
        reserve = facts.auction.reserve
        at = f"a reserve of {exact_words(reserve, currency)}" if reserve else "no reserve"
        said += (
            f" With {at} {found.chance:.0%} of such lots sell, in about {WEEKS_TO_AUCTION:.0f} weeks (common "
            "practice, no source)."
        )
    else:
        said += f" Asked at {asked} at first, {found.chance:.0%} sell within {HORIZON} weeks"
        said += "." if found.weeks is None else f", half within {found.weeks:.0f}."
    said += f" Left on average, sold or not, brought to today: {money_words(found.left, currency)}."
    if found.open_lines:
        said += f" Nothing taken off for: {', '.join(found.open_lines)}."
    return said


def unsold_sentence(facts: Selling) -> str:
    """What a car that does not sell counts as."""
    if facts.terms.own_value is not None:
        return (
            f"A car that does not sell counts as {exact_words(facts.terms.own_value, facts.currency)}, its "
            "worth to you, less fees."
        )
    return (
        "A car that does not sell is offered on: at the next auction without a reserve, elsewhere until a "
        "buyer comes; say what it is worth to you unsold to have it kept instead."
    )


def auction_sentences(facts: Selling) -> list[str]:
    """Reserve and estimate."""
    found, currency = facts.auction, facts.currency
    lots = found.evidence
    said = []
    if lots.tells:
        best = exact_words(found.best, currency) if found.best else "none"
        said += [
            f"The reserve that leaves most ({money_words(found.best_left, currency)} on average): {best}.",
            f"On record are {number_words(lots.lots)} lots, {number_words(lots.unsold)} of them unsold.",
        ]
        if lots.sold is not None and lots.expected is not None:
            said.append(
                f"Of {number_words(lots.with_reserve)} lots with a known reserve {lots.sold:.0%} sold, where "
                f"draws like these would have had {lots.expected:.0%}: whoever set them had seen the car."
            )
    low, high, custom = found.low_estimate, found.high_estimate, found.customary_low
    if low is not None and high is not None:
        said.append(f"Estimate: {exact_words(low, currency)} to {exact_words(high, currency)} (hammer).")
        if found.reserve > low:
            said.append(
                "By custom the reserve is at or below the low estimate: a reserve of "
                f"{exact_words(found.reserve, currency)} asks for a higher one."
            )
        elif custom is not None and low > custom:
            said.append(
                f"The records lead to a low estimate of {exact_words(custom, currency)}; the "
                f"reserve moves it up, and "
                "a dear estimate keeps bidders away (common practice, no source)."
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
            "That cars asked dearer sold at another pace the records do not show "
            f"(p = {facts.slower:.2f}): the price says little here, and what is advised to ask is what is "
            "customary."
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
        f"Nine sales in ten were made at {1.0 / facts.bargained:.0%} or more of what was asked ({behind}): a "
        "buyer who would pay less does not come."
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
                f"{what}: such cars also bring {gain} {more}; that the paper does it no comparison shows "
                f"({_pairs(row['pairs'])})."
            )
    elif row["supported"]:
        said = f"Mend it ({row['item']}): the sale then leaves {after}, {gain} {more}."
    else:
        said = (
            f"Mend it ({row['item']}): cars in that state also bring {gain} {more}, which would leave "
            f"{after}; no comparison of the same car shows it ({_pairs(row['pairs'])})."
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
