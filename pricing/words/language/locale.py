"""Sentences, money, numbers and days as a locale has them, and text that hides nothing."""

import re
import unicodedata
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Final

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton
from babel.localedata import locale_identifiers
from babel.numbers import format_currency, format_decimal, format_percent

from pricing.errors import AppraisalError
from pricing.money.currencies import minor_unit_places
from pricing.words.language.countries import country_words
from pricing.words.language.messages import LANGUAGES, SOURCE, Messages, messages_of
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import day_words, number_words, rounded

LOCALES: Final = (
    "de_AT", "de_CH", "de_DE", "en_AU", "en_CA", "en_GB", "en_IE", "en_US", "fr_BE", "fr_CA", "fr_CH",
    "fr_FR", "it_CH", "it_IT",
)  # fmt: skip
"""Locales to choose from; every other territory of their languages is taken as well."""

_FIGURES: Final = 3

_REORDERING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")
"""Characters that change the order in which others are shown, and show nothing themselves."""

_BROAD: Final = frozenset("WMmw@%&\u2014\u2026")


@dataclass(frozen=True)
class LocaleWords:
    """How a locale says sentences and writes amounts, numbers and days, such as ``en_GB`` or ``de_CH``;
    ``codes`` writes amounts with the code of their currency, whole numbers alone.

    >>> words = LocaleWords.of("en_GB")
    >>> words.money(Decimal("12345.50"), "EUR"), words.about(Decimal("12345.67"), "EUR")
    ('€12,345.50', '€12,300')
    >>> words.day(date(2026, 6, 3)), words.share(0.8), words.number(98000)
    ('3 June 2026', '80%', '98,000')
    >>> LocaleWords.of("de_AT").say("{low} to {high}", low=1, high=2)
    '1 bis 2'
    """

    locale: Locale
    figures: int = _FIGURES
    messages: Messages = field(default_factory=Messages)
    codes: bool = False

    @classmethod
    def of(cls, name: str, figures: int = _FIGURES) -> "LocaleWords":
        """With ``figures`` significant figures of what is estimated. Raises ``AppraisalError`` for a locale
        in which there are no documents: one that does not exist, or of another language."""
        try:
            locale = Locale.parse(name.replace("-", "_"))
        except (UnknownLocaleError, ValueError, TypeError):
            locale = None
        if locale is None or str(locale) not in _identifiers():
            raise AppraisalError(
                f"no documents in {name!r}: choose one of {', '.join(LOCALES)}, or another territory of "
                "these languages"
            )
        return cls(locale, figures, messages_of(locale.language))

    def say(self, message: str, **values: object) -> str:
        """A message of the catalogue with its values, which are texts already where they are not whole
        numbers."""
        return self.messages.of(message).format(**values)

    def many(self, one: str, more: str, number: int, **values: object) -> str:
        """A message about so many: ``one`` in English of one, ``more`` of any other number, which either
        names as ``{number}``."""
        message = self.messages.of(one, number)
        if message == one and number != 1:
            message = more
        return message.format(number=self.number(number), **values)

    def word(self, text: str | None) -> str:
        """A word of a closed list, or another text that stands in the catalogue as it is; others as they
        are, nothing for None."""
        return "" if text is None else self.messages.of(text) if text else text

    @property
    def language(self) -> str:
        """The language of the sentences, such as ``de``."""
        return str(self.locale.language)

    def listed(self, parts: list[str]) -> str:
        """Parts as a list of equals: the last with "and".

        >>> LocaleWords.of("fr_FR").listed(["a", "b", "c"])
        'a, b et c'
        """
        if len(parts) < 2:
            return "".join(parts)
        return self.say("{parts} and {last}", parts=", ".join(parts[:-1]), last=parts[-1])

    def span(self, low: object, high: object) -> str:
        """From one end to the other."""
        return self.say("{low} to {high}", low=low, high=high)

    def country(self, code: str) -> str:
        """A country by its name."""
        if self.language == SOURCE:
            return country_words(code)
        return str(self.locale.territories.get(code, code))

    @property
    def name(self) -> str:
        """The language and the country in its own words.

        >>> LocaleWords.of("de_CH").name
        'Deutsch (Schweiz)'
        """
        return capital(str(self.locale.get_display_name(self.locale)))

    @property
    def tag(self) -> str:
        """The locale as a language tag, such as ``en-GB``."""
        return str(self.locale).replace("_", "-")

    def money(self, amount: Decimal, currency: str) -> str:
        """An amount to the smallest unit of its currency; whole units alone where nothing is lost."""
        whole = amount == amount.to_integral_value()
        return self._currency(amount, currency, 0 if whole else minor_unit_places(currency))

    def exact(self, amount: Decimal, currency: str) -> str:
        """An amount with every place of its currency."""
        return self._currency(amount, currency, minor_unit_places(currency))

    def about(self, amount: Decimal | float, currency: str) -> str:
        """An amount to so many significant figures as a range can claim: three, unless set otherwise."""
        return self._currency(Decimal(rounded(amount, self.figures)), currency, 0)

    def whole(self, amount: Decimal | float, currency: str) -> str:
        """An amount as it was paid or asked, to the whole unit."""
        return self._currency(Decimal(round(amount)), currency, 0)

    def known(self, amount: Decimal) -> str:
        """An amount to as many significant figures as ``about`` gives, without its currency.

        >>> LocaleWords.of("en_GB").known(Decimal("12345.67"))
        '12,300'
        """
        return self.plain(Decimal(rounded(amount, self.figures)), 0)

    def plain(self, amount: Decimal, places: int = 2, *, sign: bool = False) -> str:
        """An amount without its currency, for a column headed by it."""
        return ("+" if sign and amount > 0 else "\u2212" if amount < 0 else "") + self._number(
            abs(amount), places
        )

    def number(self, value: float, places: int = 0) -> str:
        """A number with so many places."""
        return self._number(value, places).replace("-", "\u2212")

    def per_cent(self, value: float, places: int = 1, *, sign: bool = True) -> str:
        """A number of per cent, of a change with its sign."""
        one = str(self.locale.percent_formats[None].pattern)
        pattern = one.replace("0", "0" + ("." + "0" * places if places else ""), 1)
        size = str(format_percent(abs(value) / 100.0, format=pattern, locale=self.locale))
        if not any(digit in size for digit in "123456789"):
            return size
        return ("\u2212" if value < 0 else "+" if sign else "") + size

    def change(self, factor: float) -> str:
        """What a factor does to a price: in per cent, or as a multiple where it is large.

        >>> words = LocaleWords.of("en_GB")
        >>> [words.change(factor) for factor in (1.1234, 0.9, 2.5, 1.0001)]
        ['+12%', '-10%', 'x 2.5', 'no change']
        """
        if factor >= 2 or factor <= 0.5:
            return self.times(factor)
        change = round(100 * (factor - 1))
        return self.per_cent(change, 0).replace("\u2212", "-") if change else self.say("no change")

    def times(self, factor: float) -> str:
        """A factor as a multiple."""
        return f"x {format_decimal(float(f'{factor:.2g}'), locale=self.locale)}"

    def share(self, value: float) -> str:
        """A share of 1 as a per cent."""
        return str(format_percent(value, locale=self.locale))

    def day(self, day: date | None) -> str:
        """A day, its month as a word; nothing for none."""
        if day is None:
            return ""
        return day_words(day) if self.codes else str(format_date(day, "long", locale=self.locale))

    def short_day(self, day: date) -> str:
        """A day for a table, its month abbreviated.

        >>> [LocaleWords.of(name).short_day(date(2026, 5, 1)) for name in ("de_CH", "en_US")]
        ['1. Mai 2026', 'May 1, 2026']
        """
        return str(format_skeleton("yMMMd", day, locale=self.locale))

    def _number(self, value: float | Decimal, places: int) -> str:
        if self.codes:
            return number_words(value, places)
        pattern = "#,##0" + ("." + "0" * places if places else "")
        return str(format_decimal(value, format=pattern, locale=self.locale))

    def _currency(self, amount: Decimal, currency: str, places: int) -> str:
        if self.codes:
            return f"{currency} {number_words(amount, places)}"
        pattern = self.locale.currency_formats["standard"].pattern
        whole = pattern.replace("0.00", "0" + ("." + "0" * places if places else ""))
        return str(format_currency(amount, currency, format=whole, locale=self.locale, currency_digits=False))


PLAIN: Final = LocaleWords(Locale("en", "GB"), codes=True)
"""As pages and commands say it: in English, amounts by the code of their currency, numbers and days as the
reader has them (``reader``)."""


@cache
def _identifiers() -> frozenset[str]:
    """The locales of the languages that there are: a language, or a language and a territory."""
    known = re.compile(rf"({'|'.join(LANGUAGES)})(_[A-Z]{{2}})?")
    return frozenset(name for name in locale_identifiers() if known.fullmatch(name))


def shown(text: str) -> str:
    """Text in which nothing acts unseen: control and reordering characters stand as their codes.

    >>> shown("a\\x00b \\u202egnp.exe")
    'a[U+0000]b [U+202E]gnp.exe'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_coded(letter) if _acts(letter) else letter for letter in text)


def ems(text: str) -> float:
    """How wide a text may come out at most, in ems of a book face: reckoned by letter, on the wide side.

    >>> round(ems("will"), 2), round(ems("WILL"), 2)
    (2.8, 3.61)
    """
    return sum(_width(letter) for letter in text)


def _width(letter: str) -> float:
    if letter in _BROAD or unicodedata.east_asian_width(letter) in "WF":
        return 1.06
    return 0.58 if letter.isascii() and not letter.isupper() else 0.85


def _acts(letter: str) -> bool:
    if letter in "\n\t":
        return False
    return letter in _REORDERING or unicodedata.category(letter) in ("Cc", "Cs", "Cn", "Co")


def _coded(letter: str) -> str:
    return f"[U+{ord(letter):04X}]"
