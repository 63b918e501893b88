"""Dates as people write them, with how much of the day they say; model years, and ages."""

import re
from datetime import date, timedelta
from functools import cache
from typing import Final

from babel.core import Locale
from babel.dates import get_day_names, get_month_names

from pricing.intake.written.numbers import tidied, without_accents

LANGUAGES: Final = ("en", "de", "fr", "it", "es", "nl", "sv")
"""Languages whose words are known, by their ISO 639-1 codes."""

ORDERS: Final = ("day-month-year", "month-day-year", "year-month-day")
"""Orders that dates in figures may be stated to be in."""

CENTURY_TURNS: Final = 45
"""Two figures of a sale's year below this are of the years from 2000 on; no sale is before 1945."""

_TIME: Final = re.compile(
    r"[ T,]+(?:at |um |à |kl\.? ?)?\d{1,2}(?:[:.h]\d{2}){1,2}(?:[.,]\d+)?\s?(?:[ap]\.?m\.?|uhr|h)?\s?"
    r"(?:z|utc|gmt|[a-z]{2,4}t|[+-]\d{2}:?\d{2})?$",
    re.IGNORECASE,
)
_FILLING: Final = re.compile(
    r"\b(?:the|of|on|in|im|en|nel|am|den|der|le|il|el|los|de|del|della|op|c|ca|circa|approx|about|um|env|environ"
    r"|etwa)\b\.?"
)
_ORDINAL: Final = re.compile(r"(?<=\d)(?:st|nd|rd|th|er|ère|ste|de|:e|:a|e|º|ª|°)(?![a-z0-9])")
_APOSTROPHE: Final = re.compile(r"['\u2019\u2018](?=\d\d(?!\d))")
_PARTS: Final = re.compile(r"[\s/.,_-]+")
_YEAR: Final = re.compile(r"(?:19|20)\d{2}")

_IN_BRACKETS: Final = re.compile(r"[(\[].*?[)\]]")
_MODEL_YEAR: Final = re.compile(r"(?<!\d)(?:18[89]\d|19\d\d|20[0-4]\d)(?!\d)")
_SECOND: Final = re.compile(r"(?<=\d{4})\s?[/-]\s?(?:\d{4}|\d{1,2})(?!\d)(?!\s?[/.-]\s?\d)")
_DECADE: Final = re.compile(
    r"\d{2,4}(?:['\u2019]?s|er)\b|(?:early|late|mid|mitte|ende|anfang|début|fin)\b(?!\s\d{3}[1-9]\b)", re.I
)
_MONTH: Final = re.compile(r"(?:(?:[0-2]?\d|3[01])[/.-])?(?:0?\d|1[0-2])[/.-](\d\d)")
"""A month and a year of two figures, as a first registration is written: ``05/65``."""
_TWO: Final = re.compile(r"['\u2019\u2018`]?(\d\d)")
_AGE: Final = re.compile(
    r"(?:age[d:]?|alter:?|âge:?|età:?|edad:?|leeftijd:?|ålder:?)?\s*(\d{1,3})\s*"
    r"(?:years?(?: old)?|yrs?(?: old)?|y\.?o\.?|jahre?(?: alt)?|ans|anni|años|jaar(?: oud)?|år(?: gammal)?)",
    re.IGNORECASE,
)
_BARE_AGE: Final = re.compile(r"(?:age[d:]?|alter:?|âge:?|età:?|edad:?|leeftijd:?|ålder:?)\s*(\d{1,3})", re.I)
OLDEST: Final = 150
CENTURY_SURE: Final = 45
"""Two figures from here on are of the 1900s: no car of the years after 2044 has been made."""

Span = tuple[date, str]
"""A day and its precision: a month or a year known is stood for by its middle."""


@cache
def _months() -> dict[str, int]:
    """Names and short names of the months in every language, in lower case, by CLDR; where one short form is
    two months' it is no one's."""
    months: dict[str, set[int]] = {}
    for language in LANGUAGES:
        for width in ("wide", "abbreviated"):
            for context in ("format", "stand-alone"):
                for month, name in get_month_names(width, context, Locale(language)).items():
                    short = name.lower().rstrip(".")
                    for typed in (short, without_accents(short)):
                        months.setdefault(typed, set()).add(month)
    for name, month in (
        ("sept", 9),
        ("jän", 1),
        ("jänner", 1),
        ("fév", 2),
        ("fev", 2),
        ("mrz", 3),
        ("juill", 7),
    ):
        months[name] = {month}
    return {name: min(numbers) for name, numbers in months.items() if len(numbers) == 1}


def month_named(text: str) -> int | None:
    """The month that a text is: by its name or its number.

    >>> month_named("Mar."), month_named("12"), month_named("13")
    (3, 12, None)
    """
    plain = text.strip().lower().rstrip(".")
    if plain.isascii() and plain.isdecimal():
        return int(plain) if 1 <= int(plain) <= 12 else None
    return _months().get(plain)


@cache
def _weekdays() -> frozenset[str]:
    named = {
        name.lower().rstrip(".")
        for language in LANGUAGES
        for width in ("wide", "abbreviated", "short")
        for name in get_day_names(width, "format", Locale(language)).values()
    }
    return frozenset(named - set(_months()) - {"en"})


def read_serial(text: str) -> Span | None:
    """The day that a workbook counts in days: ECMA-376 part 1, 18.17.4.1, the 1900 date base, whose day 61 is
    the 1st of March 1900.

    >>> read_serial("43845"), read_serial("1967")
    ((datetime.date(2020, 1, 15), 'day'), None)
    """
    plain = text.strip().removesuffix(".0")
    if len(plain) != 5 or not (plain.isascii() and plain.isdecimal()):
        return None
    day = date(1899, 12, 30) + timedelta(days=int(plain))
    return (day, "day") if 1945 <= day.year < 2045 else None


def read_date(text: str, order: str | None = None) -> Span | None:
    """The day a text says and how precisely: ``day``, ``month`` or ``year``; None where it says none.

    Dates in figures alone are read in the stated ``order`` only; a year of four figures in front, or a month
    by its name, states the order itself.

    >>> read_date("12th March 2019"), read_date("3.4.24", "day-month-year"), read_date("3.4.24")
    ((datetime.date(2019, 3, 12), 'day'), (datetime.date(2024, 4, 3), 'day'), None)
    >>> read_date("mars 2019"), read_date("2019")
    ((datetime.date(2019, 3, 15), 'month'), (datetime.date(2019, 7, 1), 'year'))
    """
    plain = tidied(text).lower()
    if len(plain) > 60:
        return None
    plain = _TIME.sub("", plain)
    short_year = _APOSTROPHE.search(plain) is not None
    plain = _APOSTROPHE.sub("", _ORDINAL.sub("", plain))
    named = re.search(r"[^\W\d_]", plain) is not None
    excel_month = re.fullmatch(r"[^\W\d_]+\.?-\d\d", plain) is not None
    if named:
        plain = re.sub(r"(?<=\d)(?=[^\W\d_])|(?<=[^\W\d_])(?=\d)", " ", _FILLING.sub(" ", plain))
    parts = [part for part in _PARTS.split(plain) if part and part not in _weekdays()]
    months = [part for part in parts if part in _months()]
    figures = [part for part in parts if part.isdecimal() and part.isascii()]
    if len(months) > 1 or len(months) + len(figures) != len(parts):
        return None
    if months:
        return _with_month(_months()[months[0]], figures, parts.index(months[0]), short_year or excel_month)
    return _in_figures(figures, order)


def _with_month(month: int, figures: list[str], place: int, short_year: bool) -> Span | None:
    """A month by its name with a day and a year, or with a year alone."""
    if len(figures) == 1:
        if _YEAR.fullmatch(figures[0]) or (len(figures[0]) == 2 and short_year):
            return _span(_year(figures[0]), month)
        return None  # a day without a year, or a year that may be a day
    if len(figures) != 2:
        return None
    first, second = figures
    if len(first) == 4 and place == 1:
        return _day(_year(first), month, second)
    if len(second) not in (2, 4):
        return None
    return _day(_year(second), month, first)


def _in_figures(figures: list[str], order: str | None) -> Span | None:
    lengths = [len(figure) for figure in figures]
    if lengths == [4]:
        return _span(int(figures[0])) if _YEAR.fullmatch(figures[0]) else None
    if lengths == [8] and _YEAR.match(figures[0]):  # ISO 8601, basic format
        return _day(int(figures[0][:4]), int(figures[0][4:6]), figures[0][6:])
    if len(figures) == 2:
        years = [figure for figure in figures if _YEAR.fullmatch(figure)]
        others = [figure for figure in figures if not _YEAR.fullmatch(figure)]
        if len(years) == 1 and len(others[0]) <= 2:
            return _span(int(years[0]), int(others[0]))
        return None
    if len(figures) != 3:
        return None
    if lengths[0] == 4 and max(lengths[1:]) <= 2:
        return _day(int(figures[0]), int(figures[1]), figures[2])
    if order is None or max(lengths[:2]) > 2 or lengths[2] not in (2, 4):
        return None
    if order == "year-month-day":
        return _day(_year(figures[0]), int(figures[1]), figures[2]) if lengths == [2, 2, 2] else None
    day, month = figures[:2] if order == "day-month-year" else figures[1::-1]
    return _day(_year(figures[2]), int(month), day)


def _year(figures: str) -> int:
    if len(figures) != 2:
        return int(figures)
    return int(figures) + (2000 if int(figures) < CENTURY_TURNS else 1900)


def _day(year: int, month: int, day: str) -> Span | None:
    try:
        return date(year, month, int(day)), "day"
    except ValueError:
        return None


def _span(year: int, month: int | None = None) -> Span | None:
    if month is None:
        return date(year, 7, 1), "year"
    return (date(year, month, 15), "month") if 1 <= month <= 12 else None


def read_year(text: str, event_year: int | None = None, *, ages: bool = False) -> int | None:
    """The model year a text says, or None; of two years that follow each other the first.

    Two figures are a year of the 1900s where those of the 2000s are out of the question (after
    ``event_year`` and the year that follows it, or from ``CENTURY_SURE`` on); else they could be either. An
    age needs ``event_year``; ``ages`` says that bare figures are ages.

    >>> [read_year(text) for text in ("'67", "c.1965", "1965/6", "1967 (reg 1968)", "1967?", "1960s", "'12")]
    [1967, 1965, 1965, 1967, 1967, None, None]
    >>> read_year("late 1971"), read_year("late 1970s")
    (1971, None)
    >>> read_year("05/65"), read_year("14.06.69"), read_year("05/12")
    (1965, 1969, None)
    >>> read_year("52 years old", 2019), read_year("52", 2019, ages=True), read_year("'31", 2019)
    (1967, 1967, 1931)
    """
    plain = tidied(_IN_BRACKETS.sub(" ", text)) or tidied(text)
    if len(plain) > 40 or _DECADE.search(plain):
        return None
    age = _AGE.fullmatch(plain) or _BARE_AGE.fullmatch(plain)
    if age is None and ages:
        age = re.fullmatch(r"(\d{1,3})", plain)
    if age is not None:
        return None if event_year is None or int(age[1]) > OLDEST else event_year - int(age[1])
    years = {int(year) for year in _MODEL_YEAR.findall(_SECOND.sub("", plain))}
    if len(years) == 1:
        return years.pop()
    month = _MONTH.fullmatch(plain)
    if month is not None and not years:
        return 1900 + int(month[1]) if int(month[1]) >= CENTURY_SURE else None
    two = _TWO.fullmatch(plain.strip("?~ "))
    if two is not None and not years:
        figures = int(two[1])
        if figures >= CENTURY_SURE or (event_year is not None and 2000 + figures > event_year + 1):
            return 1900 + figures
    return None
