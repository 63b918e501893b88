"""Numbers and days as the reader's own locale writes them, in sentences that stay English.

Whoever shows words to a person says once by which locale (``read_by``); everything else, such as the command
line and the API, is read by the default, ``en_GB``. Documents say their locale themselves (``LocaleWords``).
"""

from contextvars import ContextVar
from datetime import date
from decimal import Decimal
from typing import Final

from babel import Locale, UnknownLocaleError
from babel.numbers import format_decimal

_READER: Final[ContextVar[Locale | None]] = ContextVar("reader", default=None)
"""The reader's locale; none for the default."""

_FIGURES: Final = 3


def read_by(name: str | None) -> None:
    """Write numbers and days from now on, in this thread, as a locale does, such as ``de-DE``; as the default
    does where it is none that is known."""
    try:
        _READER.set(None if name is None else Locale.parse(name.replace("-", "_")))
    except (UnknownLocaleError, ValueError, TypeError):
        _READER.set(None)


def number_marks() -> tuple[str, str]:
    """The reader's decimal mark, and the mark between thousands.

    >>> number_marks()
    ('.', ',')
    """
    locale = _READER.get()
    if locale is None:
        return ".", ","
    symbols = locale.number_symbols["latn"]
    return str(symbols["decimal"]), str(symbols["group"])


def number_words(value: float | Decimal, places: int = 0) -> str:
    """A number with so many places.

    >>> number_words(4650.4), number_words(Decimal("4650.45"), 1)
    ('4,650', '4,650.4')
    >>> read_by("de-DE"); number_words(4650.4), number_words(4650.4, 1)
    ('4.650', '4.650,4')
    >>> read_by(None)
    """
    locale = _READER.get()
    if locale is None:
        return f"{value:,.{places}f}"
    behind = f".{'0' * places}" if places else ""
    pattern = str(locale.decimal_formats[None].pattern).replace(".###", behind)
    return str(format_decimal(value, format=pattern, locale=locale))


def cents(amount: Decimal) -> str:
    """An amount with every place that it has.

    >>> cents(Decimal("1234.50")), cents(Decimal(1234))
    ('1,234.50', '1,234')
    """
    return number_words(amount, max(0, -int(amount.as_tuple().exponent)))


def day_words(day: date) -> str:
    """A day that no country reads wrongly: its month is a word, in the language of the sentence, and stands
    where the reader's locale has it.

    >>> day_words(date(2026, 6, 3))
    '3 June 2026'
    >>> read_by("en-US"); day_words(date(2026, 6, 3))
    'June 3, 2026'
    >>> read_by(None)
    """
    return day_form(str(day.day), f"{day:%B}", str(day.year))


def day_form(day: str, month: str, year: str) -> str:
    """The parts of a day, or another tool's signs for them, where the reader's locale has each.

    >>> day_form("%-d", "%b", "%Y")
    '%-d %b %Y'
    >>> read_by("en-US"); day_form("D", "MMM", "YYYY")
    'MMM D, YYYY'
    >>> read_by(None)
    """
    locale = _READER.get()
    order = "dMy" if locale is None else _order(str(locale.date_formats["long"].pattern))
    if order.startswith("M"):
        return f"{month} {day}, {year}"
    if order.startswith("y"):
        return f"{year} {month} {day}"
    return f"{day} {month} {year}"


def long_day_form() -> str:
    """A day with its month by name, in the signs of strftime, which charts and columns of text take.

    >>> long_day_form()
    '%-d %B %Y'
    """
    return day_form("%-d", "%B", "%Y")


def day_field_form() -> str:
    """How a day is typed into a field, in digits, as the reader's locale writes it.

    >>> day_field_form()
    'DD/MM/YYYY'
    >>> read_by("de-DE"); day_field_form()
    'DD.MM.YYYY'
    >>> read_by("sv-SE"); day_field_form()
    'YYYY-MM-DD'
    >>> read_by(None)
    """
    locale = _READER.get()
    pattern = "dd/MM/y" if locale is None else str(locale.date_formats["short"].pattern)
    mark = next((sign for sign in pattern if sign in "./-"), "/")
    return mark.join({"d": "DD", "M": "MM", "y": "YYYY"}[part] for part in _order(pattern))


def _order(pattern: str) -> str:
    """In which order a pattern of days has its parts.

    >>> _order("d. MMMM y"), _order("MMMM d, y")
    ('dMy', 'Mdy')
    """
    return "".join(sorted("dMy", key=lambda part: pattern.find(part) % 1000))


def rounded(amount: float | Decimal, figures: int = _FIGURES) -> int:
    """An amount to three significant figures, or so many, and no finer than whole units.

    >>> rounded(98765.4), rounded(12.3)
    (98800, 12)
    """
    digits = len(str(abs(int(amount))))
    return int(round(Decimal(amount), min(0, figures - digits)))


def about_words(amount: float | Decimal) -> str:
    """A number to three significant figures, which is more than a range can claim.

    >>> about_words(98765.4)
    '98,800'
    """
    return number_words(rounded(amount))
