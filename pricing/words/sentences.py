"""Facts of a valuation in plain words. Every amount is said with its basis, currency and date close by."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, Final

from pricing.car_fields import FIELDS
from pricing.decisions.valuation import Valuation
from pricing.decisions.verdict import LIMITS, VERDICTS, verdict_of
from pricing.words.countries import country_words
from pricing.words.reader import about_words, day_words, number_words

CAUTION: Final = (
    "An estimate from sale records is not an appraisal: it has not seen the car. Before money changes hands, "
    "have the car inspected by a qualified person; a formal value is for a qualified valuer to give."
)
"""Shown wherever a range is."""

_YES_OR_NO: Final = {"true": "yes", "false": "no"}


def money_words(amount: float | Decimal, currency: str) -> str:
    """An amount to three significant figures, which is more than a range can claim.

    >>> money_words(Decimal("12345.67"), "EUR")
    'EUR 12,300'
    >>> money_words(432.5, "GBP")
    'GBP 432'
    """
    return f"{currency} {about_words(amount)}"


def exact_words(amount: float | Decimal, currency: str) -> str:
    """An amount as it was paid or asked, to the whole unit.

    >>> exact_words(Decimal("12345.67"), "EUR")
    'EUR 12,346'
    """
    return f"{currency} {number_words(amount)}"


def option_words(code: str) -> str:
    """An option code, or a column, as words.

    >>> option_words("wire_wheels")
    'wire wheels'
    """
    return code.removesuffix("_km").replace("_", " ")


def car_words(car: dict[str, Any]) -> str:
    """The car in one line.

    >>> car_words({"make": "Corvane", "model": "Six", "year": 1968, "options": ["wire_wheels"]})
    '1968 Corvane Six, condition not graded, wire wheels'
    """
    name = " ".join(
        str(car[part]) for part in ("year", "make", "model", "variant") if car.get(part) is not None
    )
    odometer = car.get("odometer_km")
    details = [
        car.get("condition_band") or "condition not graded",
        None if odometer is None else f"{number_words(odometer)} km",
        *(option_words(code) for code in car.get("options") or []),
    ]
    return ", ".join([name, *(str(detail) for detail in details if detail is not None)])


def basis_words(valuation: Valuation) -> str:
    """What the amounts include, in which money, and when: the line that stands beside every number."""
    return f"{valuation.basis} prices in {valuation.currency} at {day_words(valuation.as_of)}"


def range_sentence(valuation: Valuation) -> str:
    """The range, or why there is none."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return f"No range can be given: {valuation.reason}."
    low, mid, high = (
        money_words(price, valuation.currency) for price in (valuation.low, valuation.mid, valuation.high)
    )
    share = round(100 * valuation.coverage)
    return (
        f"Of 100 cars like this one, {share} should sell between {low} and {high}, and half below {mid}. "
        f"These are {basis_words(valuation)}.{remark_words(valuation)}"
    )


def remark_words(valuation: Valuation) -> str:
    """What a reader should know of the range, as a sentence to follow it; nothing where there is none."""
    return "" if valuation.remark is None else f" {valuation.remark[0].upper()}{valuation.remark[1:]}."


def other_currency_sentence(valuation: Valuation, currency: str, rate: Decimal) -> str:
    """The range in another currency; ``rate`` is what one unit of the market's own buys of it that day."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return f"No range can be given in {currency} either."
    low, mid, high = (
        money_words(price * rate, currency) for price in (valuation.low, valuation.mid, valuation.high)
    )
    return (
        f"In {currency}: {low} to {high}, half below {mid}, at the reference rate for "
        f"{day_words(valuation.as_of)} "
        f"({valuation.currency} 1 = {currency} {rate:.4g})."
    )


def standing_sentence(valuation: Valuation, limits: tuple[float, ...] = LIMITS) -> str:
    """Where the asking price stands among the prices that like cars sell for: the verdict of ``limits``, and
    the share behind it."""
    if valuation.asking is None:
        return "No asking price was given."
    asked = exact_words(valuation.asking, valuation.currency)
    if valuation.standing is None:
        return f"The asking price of {asked} cannot be placed, for there is no range."
    verdict = verdict_of(valuation.standing, limits)
    advice = {
        VERDICTS[0]: " Ask why before hoping for a bargain.",
        VERDICTS[-1]: " It needs a reason that the records do not show.",
    }.get(verdict, "")
    return (
        f"The asking price of {asked} is {verdict} what like cars fetch: {share_words(valuation.standing)} "
        f"would sell for less.{advice}"
    )


def evidence_sentence(valuation: Valuation) -> str:
    """How many sales stand behind the range, and how near they are."""
    name = f"{valuation.car['make']} {valuation.car['model']}"
    sales = valuation.sales
    if sales.is_empty():
        at = day_words(valuation.as_of)
        return f"No {name} is recorded as sold by {at}. Evidence depth: {valuation.evidence}."
    days = sorted(sales["event_date"].unique().to_list())
    first, last = day_words(days[0]), day_words(days[-1])
    span = f"between {first} and {last}" if len(days) > 1 else f"on {last}"
    others = [
        f"{count} {words}"
        for count, words in (
            (valuation.unsold, "offered without a buyer"),
            (valuation.asked, "advertised without a sale known"),
        )
        if count
    ]
    beside = f", {' and '.join(others)}" if others else ""
    return f"{sales.height} {name} sold {span}{beside}. Evidence depth: {valuation.evidence}."


def effect_words(factor: float) -> str:
    """What a factor does to the price, as a per cent change.

    >>> effect_words(1.1234), effect_words(0.9), effect_words(2.5), effect_words(1.0001)
    ('+12%', '-10%', 'x 2.5', 'no change')
    """
    if factor >= 2 or factor <= 0.5:
        return f"x {factor:.2g}"
    change = round(100 * (factor - 1))
    return f"{change:+d}%" if change else "no change"


def effect_interval_words(low: float, high: float) -> str:
    """An interval of a factor, both its ends in one way.

    >>> effect_interval_words(0.94, 1.08), effect_interval_words(0.39, 0.56)
    ('-6% to +8%', 'x 0.39 to x 0.56')
    """
    if low <= 0.5 or high >= 2:
        return f"x {low:.2g} to x {high:.2g}"
    return f"{effect_words(low)} to {effect_words(high)}"


def term_words(term: Mapping[str, Any]) -> str:
    """A term of the price with the car's own value.

    >>> term_words({"term": "odometer_km", "value": "98000.0"})
    'odometer: 98,000 km'
    >>> term_words({"term": "channel", "value": None}), term_words({"term": "options absent", "value": "13"})
    ('channel: not said', '13 options that it lacks')
    """
    name, value = option_words(str(term["term"])), term["value"]
    if value is None:
        return f"{name}: not said" if term["term"] in {*FIELDS, "condition"} else name
    if name == "options absent":
        return f"{value} options that it lacks"
    if name == "odometer":
        return f"{name}: {number_words(float(value))} km"
    if name == "date":
        return f"prices at {day_words(date.fromisoformat(value))}"
    if name == "country":
        return f"{name}: {country_words(value)}"
    return f"{name}: {_YES_OR_NO.get(value, value.removesuffix('.0'))}"


def distribution_caption(valuation: Valuation, comparables: int = 0) -> str:
    """What ``charts.distribution_chart`` shows, with so many comparable sales on it."""
    points = f" The points are {comparables} comparable sales, adjusted to this car." if comparables else ""
    asked = "" if valuation.asking is None else "; the thick line is the asking price"
    first, end = valuation.distribution.select("from_price", "to_price").row(0)
    return (
        f"Each column is a price bracket of {money_words(end - first, valuation.currency)}; its height is "
        "how many of 100 cars like this one would sell in it. "
        f"The darker columns lie between the low and the high price{asked}.{points}"
    )


def bands_caption(valuation: Valuation) -> str:
    """What ``charts.bands_chart`` shows."""
    asked = "" if valuation.asking is None else " The thick line is the asking price."
    return (
        "Each bar runs from low to high for this car in that condition band; the notch is the mid "
        "price. Rings are recorded sales of the model at the price paid on the day, not adjusted to this "
        "car; those far dearer than any bar are left out." + asked
    )


def terms_caption(valuation: Valuation) -> str:
    """What ``charts.terms_chart`` shows."""
    return (
        "From the average sale on record, each line moves the price up or down; the last one ends at this "
        "car's mid price. The effects multiply."
    )


def share_words(share: float) -> str:
    """A share as cars in 100.

    >>> share_words(0.424), share_words(0.001)
    ('about 42 in 100', 'fewer than 1 in 100')
    """
    if share < 0.01:
        return "fewer than 1 in 100"
    if share > 0.99:
        return "more than 99 in 100"
    return f"about {round(100 * share)} in 100"


def cases_words(share: float) -> str:
    """A share as cases in 100.

    >>> cases_words(0.424), cases_words(0.999)
    ('42 of 100 cases', 'more than 99 of 100 cases')
    """
    if share < 0.01:
        return "fewer than 1 of 100 cases"
    return "more than 99 of 100 cases" if share > 0.99 else f"{round(100 * share)} of 100 cases"
