"""Facts of a valuation in plain words. Every amount is said with its basis, currency and date close by.

Every sentence is a message of the catalogue, said by the ``words`` of a locale: in plain English where none
is given.
"""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, Final

from pricing.car_fields import FIELDS
from pricing.decisions.buy.verdict import LIMITS, VERDICTS, verdict_of
from pricing.decisions.valuation import Valuation
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told

CAUTION: Final = noted(
    "An estimate from sale records is not an appraisal: it has not seen the car. Before money changes hands, "
    "have the car inspected by a qualified person; a formal value is for a qualified valuer to give."
)
"""Shown wherever a range is."""

_YES_OR_NO: Final = {"true": noted("yes"), "false": noted("no")}


def money_words(amount: float | Decimal, currency: str) -> str:
    """An amount to three significant figures, which is more than a range can claim.

    >>> money_words(Decimal("12345.67"), "EUR")
    'EUR 12,300'
    >>> money_words(432.5, "GBP")
    'GBP 432'
    """
    return PLAIN.about(amount, currency)


def exact_words(amount: float | Decimal, currency: str) -> str:
    """An amount as it was paid or asked, to the whole unit.

    >>> exact_words(Decimal("12345.67"), "EUR")
    'EUR 12,346'
    """
    return PLAIN.whole(amount, currency)


def option_words(code: str, words: LocaleWords = PLAIN) -> str:
    """An option code, or a column, as words.

    >>> option_words("wire_wheels")
    'wire wheels'
    """
    return words.word(code.removesuffix("_km").replace("_", " "))


def car_words(car: dict[str, Any], words: LocaleWords = PLAIN) -> str:
    """The car in one line.

    >>> car_words({"make": "Corvane", "model": "Six", "year": 1968, "options": ["wire_wheels"]})
    '1968 Corvane Six, condition not graded, wire wheels'
    """
    name = " ".join(
        str(car[part]) for part in ("year", "make", "model", "variant") if car.get(part) is not None
    )
    odometer, band = car.get("odometer_km"), car.get("condition_band")
    details = [
        words.word(band) if band else words.say("condition not graded"),
        None if odometer is None else f"{words.number(odometer)} km",
        *(option_words(code, words) for code in car.get("options") or []),
    ]
    return ", ".join([name, *(str(detail) for detail in details if detail is not None)])


def basis_words(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """What the amounts include, in which money, and when: the line that stands beside every number."""
    return words.say(
        "{basis} prices in {currency} at {day}", basis=words.word(valuation.basis),
        currency=valuation.currency, day=words.day(valuation.as_of),
    )  # fmt: skip


def range_sentence(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """The range, or why there is none."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return words.say("No range can be given: {reason}.", reason=told(valuation.reason, words))
    low, mid, high = (
        words.about(price, valuation.currency) for price in (valuation.low, valuation.mid, valuation.high)
    )
    said = words.say(
        "Of 100 cars like this one, {share} should sell between {low} and {high}, and half below {mid}. "
        "These are {basis}.",
        share=round(100 * valuation.coverage), low=low, high=high, mid=mid,
        basis=basis_words(valuation, words),
    )  # fmt: skip
    return said + remark_words(valuation, words)


def remark_words(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """What a reader should know of the range, as a sentence to follow it; nothing where there is none."""
    return "" if valuation.remark is None else f" {capital(told(valuation.remark, words))}."


def other_currency_sentence(
    valuation: Valuation, currency: str, rate: Decimal, words: LocaleWords = PLAIN
) -> str:
    """The range in another currency; ``rate`` is what one unit of the market's own buys of it that day."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return words.say("No range can be given in {currency} either.", currency=currency)
    low, mid, high = (
        words.about(price * rate, currency) for price in (valuation.low, valuation.mid, valuation.high)
    )
    return words.say(
        "In {currency}: {low} to {high}, half below {mid}, at the reference rate for {day} "
        "({base} 1 = {currency} {rate}).",
        currency=currency, low=low, high=high, mid=mid, day=words.day(valuation.as_of),
        base=valuation.currency, rate=f"{rate:.4g}",
    )  # fmt: skip


def standing_sentence(
    valuation: Valuation, limits: tuple[float, ...] = LIMITS, words: LocaleWords = PLAIN
) -> str:
    """Where the asking price stands among the prices that like cars sell for: the verdict of ``limits``, and
    the share behind it."""
    if valuation.asking is None:
        return words.say("No asking price was given.")
    asked = words.whole(valuation.asking, valuation.currency)
    if valuation.standing is None:
        return words.say("The asking price of {asked} cannot be placed, for there is no range.", asked=asked)
    verdict = verdict_of(valuation.standing, limits)
    advice = {
        VERDICTS[0]: noted("Ask why before hoping for a bargain."),
        VERDICTS[-1]: noted("It needs a reason that the records do not show."),
    }.get(verdict)
    said = words.say(
        "The asking price of {asked} is {verdict} what like cars fetch: {share} would sell for less.",
        asked=asked, verdict=words.word(verdict), share=share_words(valuation.standing, words),
    )  # fmt: skip
    return said if advice is None else f"{said} {words.word(advice)}"


def evidence_sentence(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """How many sales stand behind the range, and how near they are."""
    name = f"{valuation.car['make']} {valuation.car['model']}"
    sales, depth = valuation.sales, words.word(valuation.evidence)
    if sales.is_empty():
        return words.say(
            "No {name} is recorded as sold by {day}. Evidence depth: {depth}.",
            name=name, day=words.day(valuation.as_of), depth=depth,
        )  # fmt: skip
    days = sorted(sales["event_date"].unique().to_list())
    first, last = words.day(days[0]), words.day(days[-1])
    said = [
        words.say("{count} {name} sold between {first} and {last}", count=words.number(sales.height),
                  name=name, first=first, last=last)
        if len(days) > 1
        else words.say("{count} {name} sold on {day}", count=words.number(sales.height), name=name, day=last)
    ]  # fmt: skip
    others = [
        words.say(message, count=words.number(count))
        for count, message in (
            (valuation.unsold, noted("{count} offered without a buyer")),
            (valuation.asked, noted("{count} advertised without a sale known")),
        )
        if count
    ]
    beside = [words.listed(others)] if others else []
    return words.say("{sold}. Evidence depth: {depth}.", sold=", ".join([*said, *beside]), depth=depth)


def effect_words(factor: float, words: LocaleWords = PLAIN) -> str:
    """What a factor does to the price, as a per cent change.

    >>> effect_words(1.1234), effect_words(0.9), effect_words(2.5), effect_words(1.0001)
    ('+12%', '-10%', 'x 2.5', 'no change')
    """
    return words.change(factor)


def effect_interval_words(low: float, high: float, words: LocaleWords = PLAIN) -> str:
    """An interval of a factor, both its ends in one way.

    >>> effect_interval_words(0.94, 1.08), effect_interval_words(0.39, 0.56)
    ('-6% to +8%', 'x 0.39 to x 0.56')
    """
    told_as = words.times if low <= 0.5 or high >= 2 else words.change
    return words.say("{low} to {high}", low=told_as(low), high=told_as(high))


def term_words(term: Mapping[str, Any], words: LocaleWords = PLAIN) -> str:
    """A term of the price with the car's own value.

    >>> term_words({"term": "odometer_km", "value": "98000.0"})
    'odometer: 98,000 km'
    >>> term_words({"term": "channel", "value": None}), term_words({"term": "options absent", "value": "13"})
    ('channel: not said', '13 options that it lacks')
    """
    plain, value = option_words(str(term["term"])), term["value"]
    name = words.word(plain)
    if value is None:
        silent = term["term"] in {*FIELDS, "condition"}
        return words.say("{name}: not said", name=name) if silent else name
    if plain == "options absent":
        return words.many("{number} option that it lacks", "{number} options that it lacks", int(value))
    if plain == "date":
        return words.say("prices at {day}", day=words.day(date.fromisoformat(value)))
    if plain == "odometer":
        said = f"{words.number(float(value))} km"
    elif plain == "country":
        said = words.country(value)
    else:
        said = words.word(_YES_OR_NO.get(value, value.removesuffix(".0")))
    return words.say("{name}: {value}", name=name, value=said)


def distribution_caption(valuation: Valuation, comparables: int = 0, words: LocaleWords = PLAIN) -> str:
    """What ``charts.distribution_chart`` shows, with so many comparable sales on it."""
    first, end = valuation.distribution.select("from_price", "to_price").row(0)
    said = [
        words.say(
            "Each column is a price bracket of {width}; its height is how many of 100 cars like this one "
            "would sell in it.",
            width=words.about(end - first, valuation.currency),
        ),
        words.say("The darker columns lie between the low and the high price.")
        if valuation.asking is None
        else words.say(
            "The darker columns lie between the low and the high price; the thick line is the asking price."
        ),
    ]
    if comparables:
        said.append(
            words.many(
                "The point is {number} comparable sale, adjusted to this car.",
                "The points are {number} comparable sales, adjusted to this car.",
                comparables,
            )
        )
    return " ".join(said)


def bands_caption(valuation: Valuation) -> str:
    """What ``charts.bands_chart`` shows."""
    asked = "" if valuation.asking is None else " The thick line is the asking price."
    return (
        "Each bar runs from low to high for this car in that condition band; the notch is the mid "
        "price. Rings are recorded sales of the model at the price paid on the day, not adjusted to this "
        "car; those far dearer than any bar are left out." + asked
    )


def terms_caption(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """What ``charts.terms_chart`` shows."""
    return words.say(
        "From the average sale on record, each line moves the price up or down; the last one ends at this "
        "car's mid price. The effects multiply."
    )


def share_words(share: float, words: LocaleWords = PLAIN) -> str:
    """A share as cars in 100.

    >>> share_words(0.424), share_words(0.001)
    ('about 42 in 100', 'fewer than 1 in 100')
    """
    if share < 0.01:
        return words.say("fewer than 1 in 100")
    if share > 0.99:
        return words.say("more than 99 in 100")
    return words.say("about {cars} in 100", cars=round(100 * share))


def cases_words(share: float, words: LocaleWords = PLAIN) -> str:
    """A share as cases in 100.

    >>> cases_words(0.424), cases_words(0.999)
    ('42 of 100 cases', 'more than 99 of 100 cases')
    """
    if share < 0.01:
        return words.say("fewer than 1 of 100 cases")
    if share > 0.99:
        return words.say("more than 99 of 100 cases")
    return words.say("{cases} of 100 cases", cases=round(100 * share))
