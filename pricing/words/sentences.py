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


def name_words(car: Mapping[str, Any], *parts: str) -> str:
    """Year, make, model and variant of a car, or the parts of them that are named, as far as they are known.

    >>> name_words({"make": "Corvane", "model": "Six", "year": 1968, "variant": None})
    '1968 Corvane Six'
    """
    named = (car.get(part) for part in parts or ("year", "make", "model", "variant"))
    return " ".join(str(part) for part in named if part not in (None, ""))


def car_words(car: Mapping[str, Any], words: LocaleWords = PLAIN) -> str:
    """The car in one line.

    >>> car_words({"make": "Corvane", "model": "Six", "year": 1968, "options": ["wire_wheels"]})
    '1968 Corvane Six, condition not graded, wire wheels'
    """
    odometer, band = car.get("odometer_km"), car.get("condition_band")
    details = [
        name_words(car),
        words.word(band) if band else words.say("condition not graded"),
        "" if odometer is None else f"{words.number(odometer)} km",
        *(option_words(code, words) for code in car.get("options") or []),
    ]
    return ", ".join(detail for detail in details if detail)


def basis_words(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """What the amounts include, in which money, and when: the line that stands beside every number."""
    return words.say(
        "{basis} prices in {currency} at {day}", basis=words.word(valuation.basis),
        currency=valuation.currency, day=words.day(valuation.as_of),
    )  # fmt: skip


def price_words(
    valuation: Valuation, words: LocaleWords = PLAIN, currency: str = "", rate: Decimal = Decimal(1)
) -> tuple[str, str, str] | None:
    """Low, mid and high of a range as amounts, in another ``currency`` at a ``rate``; None without one."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return None
    money = currency or valuation.currency
    low, mid, high = (
        words.about(price * rate, money) for price in (valuation.low, valuation.mid, valuation.high)
    )
    return low, mid, high


def range_sentence(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """The range, or why there is none; then what a reader should know of it."""
    prices = price_words(valuation, words)
    if prices is None:
        return words.say("No range can be given: {reason}.", reason=told(valuation.reason, words))
    sentence = words.say(
        "Of 100 cars like this one, {share} should sell between {low} and {high}, and half below {mid}. "
        "These are {basis}.",
        share=round(100 * valuation.coverage), low=prices[0], mid=prices[1], high=prices[2],
        basis=basis_words(valuation, words),
    )  # fmt: skip
    return sentence + remark_words(valuation, words)


def remark_words(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """What a reader should know of the range, as a sentence to follow it; nothing where there is none."""
    return "" if valuation.remark is None else f" {capital(told(valuation.remark, words))}."


def other_currency_sentence(
    valuation: Valuation, currency: str, rate: Decimal, words: LocaleWords = PLAIN
) -> str:
    """The range in another currency; ``rate`` is what one unit of the market's own buys of it that day."""
    prices = price_words(valuation, words, currency, rate)
    if prices is None:
        return words.say("No range can be given in {currency} either.", currency=currency)
    return words.say(
        "In {currency}: {low} to {high}, half below {mid}, at the reference rate for {day} "
        "({base} 1 = {currency} {rate}).",
        currency=currency, low=prices[0], mid=prices[1], high=prices[2], day=words.day(valuation.as_of),
        base=valuation.currency, rate=f"{rate:.4g}",
    )  # fmt: skip


def standing_sentence(
    valuation: Valuation, limits: tuple[float, ...] = LIMITS, words: LocaleWords = PLAIN
) -> str:
    """Where the asking price stands among the prices that like cars sell for: the verdict of ``limits``, and
    the share behind it."""
    if valuation.asking is None:
        return words.say("No asking price was given.")
    asking = words.whole(valuation.asking, valuation.currency)
    if valuation.standing is None:
        return words.say("The asking price of {asked} cannot be placed, for there is no range.", asked=asking)
    verdict = verdict_of(valuation.standing, limits)
    sentence = words.say(
        "The asking price of {asked} is {verdict} what like cars fetch: {share} would sell for less.",
        asked=asking, verdict=words.word(verdict), share=share_words(valuation.standing, words),
    )  # fmt: skip
    return f"{sentence} {words.word(_ADVICE[verdict])}" if verdict in _ADVICE else sentence


_ADVICE: Final = {
    VERDICTS[0]: noted("Ask why before hoping for a bargain."),
    VERDICTS[-1]: noted("It needs a reason that the records do not show."),
}
"""What the lowest verdict and the highest advise."""


def evidence_sentence(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """How many sales stand behind the range, and how near they are."""
    name = f"{valuation.car['make']} {valuation.car['model']}"
    sales, depth = valuation.sales, words.word(valuation.evidence)
    if sales.is_empty():
        return words.say(
            "No {name} is recorded as sold by {day}. Evidence depth: {depth}.",
            name=name, day=words.day(valuation.as_of), depth=depth,
        )  # fmt: skip
    days, count = sales["event_date"].unique().sort().to_list(), words.number(sales.height)
    first, last = words.day(days[0]), words.day(days[-1])
    sold = (
        words.say("{count} {name} sold between {first} and {last}",
                  count=count, name=name, first=first, last=last)
        if len(days) > 1
        else words.say("{count} {name} sold on {day}", count=count, name=name, day=last)
    )  # fmt: skip
    others = {
        noted("{count} offered without a buyer"): valuation.unsold,
        noted("{count} advertised without a sale known"): valuation.asked,
    }
    beside = [words.say(message, count=words.number(number)) for message, number in others.items() if number]
    parts = [sold, words.listed(beside)] if beside else [sold]
    return words.say("{sold}. Evidence depth: {depth}.", sold=", ".join(parts), depth=depth)


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
    effect = words.times if low <= 0.5 or high >= 2 else words.change
    return words.span(effect(low), effect(high))


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
        is_open = term["term"] in {*FIELDS, "condition"}
        return words.say("{name}: not said", name=name) if is_open else name
    if plain == "options absent":
        return words.many("{number} option that it lacks", "{number} options that it lacks", int(value))
    if plain == "date":
        return words.say("prices at {day}", day=words.day(date.fromisoformat(value)))
    if plain == "odometer":
        value = f"{words.number(float(value))} km"
    elif plain == "country":
        value = words.country(value)
    else:
        value = words.word(_YES_OR_NO.get(value, value.removesuffix(".0")))
    return words.say("{name}: {value}", name=name, value=value)


def of_hundred(share: float, words: LocaleWords, few: str, most: str, about: str) -> str:
    """A share by one of three messages: fewer than 1, more than 99, or so many of 100."""
    message = few if share < 0.01 else most if share > 0.99 else about
    return words.say(message, cars=round(100 * share), cases=round(100 * share))


def share_words(share: float, words: LocaleWords = PLAIN) -> str:
    """A share as cars in 100.

    >>> share_words(0.424), share_words(0.001)
    ('about 42 in 100', 'fewer than 1 in 100')
    """
    ends = noted("fewer than 1 in 100"), noted("more than 99 in 100")
    return of_hundred(share, words, *ends, noted("about {cars} in 100"))


def cases_words(share: float, words: LocaleWords = PLAIN) -> str:
    """A share as cases in 100.

    >>> cases_words(0.424), cases_words(0.999)
    ('42 of 100 cases', 'more than 99 of 100 cases')
    """
    ends = noted("fewer than 1 of 100 cases"), noted("more than 99 of 100 cases")
    return of_hundred(share, words, *ends, noted("{cases} of 100 cases"))
