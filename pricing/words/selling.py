"""What the facts for a seller say, in sentences."""

from pricing.decisions.channel_proceeds import HORIZON, ChannelProceeds
from pricing.decisions.selling import Selling
from pricing.decisions.time_to_sale import TimeToSale
from pricing.words.sentences import exact_words, money_words, range_sentence


def channel_sentence(facts: Selling, found: ChannelProceeds) -> str:
    """Net proceeds on one channel, with the chance and the wait."""
    currency = facts.currency
    low, mid, high = (money_words(net, currency) for net in (found.net_low, found.net_mid, found.net_high))
    said = (
        f"{found.channel.capitalize()}: a sale leaves {mid} in the middle, eight times in ten "
        f"{low} to {high}."
    )
    if found.chance is None:
        said += " The chance of a sale is unknown."
    elif found.channel == "auction" and facts.auction is not None:
        at = (
            f"a reserve of {exact_words(facts.auction.reserve, currency)}"
            if facts.auction.reserve
            else "no reserve"
        )
        said += f" With {at} {found.chance:.0%} of such lots sell."
    elif found.asking is not None:
        said += (
            f" Asked at {money_words(found.asking, currency)}, {found.chance:.0%} sell within {HORIZON} weeks"
            + ("" if found.weeks is None else f", half within {found.weeks:.0f}")
            + "."
        )
    if found.expected is not None:
        said += (
            f" Expected, the car unsold counted at its worth to you: {money_words(found.expected, currency)}."
        )
    if found.open_lines:
        said += f" Nothing taken off for: {', '.join(found.open_lines)}."
    return said


def auction_sentences(facts: Selling) -> list[str]:
    """Reserve and estimate."""
    found, currency = facts.auction, facts.currency
    if found is None:
        return []
    said = [f"The chance of a sale is learnt from {found.lots:,} lots, {found.unsold:,} of them unsold."]
    if found.best is not None and found.best_expected is not None:
        best = exact_words(found.best, currency) if found.best else "none"
        said.append(
            f"Reserve with the highest expected net ({money_words(found.best_expected, currency)}): {best}."
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
    if facts.slower > 0.05:
        said.append(
            "That cars asked dearer sold at another pace the records do not show "
            f"(p = {facts.slower:.2f}): the chances against the price say little."
        )
    return said + ([] if facts.times is None else [pace_sentence(facts.times)])


def pace_sentence(times: TimeToSale) -> str:
    """What a dearer price does to the wait, and whether the error of the mid prices is allowed for."""
    longer = 1.1**times.elasticity - 1.0
    if not times.corrected:
        return (
            f"A price 10 % higher takes at least {longer:.0%} longer to sell; by how much more, "
            f"{times.offers:,} listings cannot tell, because the mid prices that they are held against are "
            f"themselves off by some {times.mid_error:.0%}."
        )
    allowed = (
        ""
        if times.mid_error == 0.0
        else f", the error of the mid prices, some {times.mid_error:.0%}, allowed for (without that "
        f"{1.1**times.uncorrected - 1.0:.0%})"
    )
    return f"A price 10 % higher takes {longer:.0%} longer to sell{allowed}."


def first_sentences(facts: Selling) -> list[str]:
    """What is worth doing first, or the usual answer."""
    base = facts.valuation.currency
    todo = facts.first.filter(facts.first["answer"] == "do it")
    said = [
        f"Worth doing first: {row['item']}, cost {money_words(row['cost'], base)}, mid price "
        f"{money_words(row['gain'], base)} up."
        for row in todo.iter_rows(named=True)
    ]
    left = facts.first.filter(facts.first["answer"] == "leave it")
    if left.height:
        said.append(
            f"Leave it: {', '.join(left['item'].head(6))}. Each costs more than it adds to the mid price."
        )
    unsaid = facts.first.filter(facts.first["answer"] == "cost not said")
    said += [
        f"With {row['item']}: mid price {money_words(row['gain'], base)} up, if it costs less than "
        f"that to get."
        for row in unsaid.iter_rows(named=True)
        if row["gain"] > 0
    ]
    return said or ["Nothing is on the list of what to do first: leave the car as it is."]


def selling_sentences(facts: Selling) -> list[str]:
    """Everything in the order a seller needs it."""
    return [
        *([range_sentence(facts.valuation)] if facts.valuation.opinion_alone else []),
        *(channel_sentence(facts, found) for found in facts.channels),
        *auction_sentences(facts),
        *waiting_sentences(facts),
        *first_sentences(facts),
        *facts.unknown,
        f"Charges: {facts.rates}",
    ]


def proceeds_caption() -> str:
    """What ``selling_charts.proceeds_chart`` shows."""
    return (
        "Each bar runs over eight sales in ten; the notch is the middle. What is left is after "
        "commission and fees."
    )


def reserve_caption() -> str:
    """What ``selling_charts.reserve_chart`` shows."""
    return "The chance that a lot like this one sells, against its reserve; dashed is the reserve looked at."
