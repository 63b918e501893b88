"""Money, numbers and days as a locale writes them, and text that hides nothing."""

import unicodedata
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from babel import Locale, UnknownLocaleError
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, format_percent

from pricing.errors import AppraisalError
from pricing.money.currencies import minor_unit_places
from pricing.words.reader import rounded

_REORDERING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")
"""Characters that change the order in which others are shown, and show nothing themselves."""

_BROAD: Final = frozenset("WMmw@%&\u2014\u2026")


@dataclass(frozen=True)
class LocaleWords:
    """How a locale writes amounts, numbers and days, such as ``en_GB`` or ``de_CH``.

    >>> words = LocaleWords.of("en_GB")
    >>> words.money(Decimal("12345.50"), "EUR"), words.about(Decimal("12345.67"), "EUR")
    ('€12,345.50', '€12,300')
    >>> words.day(date(2026, 6, 3)), words.share(0.8), words.number(98000)
    ('3 June 2026', '80%', '98,000')
    """

    locale: Locale
    figures: int = 3

    @classmethod
    def of(cls, name: str, figures: int = 3) -> "LocaleWords":
        """With ``figures`` significant figures of what is estimated. Raises ``AppraisalError`` for a locale
        that there is none of."""
        try:
            return cls(Locale.parse(name.replace("-", "_")), figures)
        except (UnknownLocaleError, ValueError, TypeError):
            raise AppraisalError(f"no locale {name!r}; expected one such as en_GB, en_US or de_CH") from None

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

    def about(self, amount: Decimal, currency: str) -> str:
        """An amount to so many significant figures as a range can claim: three, unless set otherwise."""
        return self._currency(Decimal(rounded(amount, self.figures)), currency, 0)

    def known(self, amount: Decimal) -> str:
        """An amount to as many significant figures as ``about`` gives, without its currency.

        >>> LocaleWords.of("en_GB").known(Decimal("12345.67"))
        '12,300'
        """
        return self.plain(Decimal(rounded(amount, self.figures)), 0)

    def plain(self, amount: Decimal, places: int = 2, *, sign: bool = False) -> str:
        """An amount without its currency, for a column headed by it."""
        pattern = "#,##0" + ("." + "0" * places if places else "")
        shown = format_decimal(abs(amount), format=pattern, locale=self.locale)
        return ("+" if sign and amount > 0 else "\u2212" if amount < 0 else "") + shown

    def number(self, value: float, places: int = 0) -> str:
        """A number with so many places."""
        pattern = "#,##0" + ("." + "0" * places if places else "")
        return str(format_decimal(value, format=pattern, locale=self.locale)).replace("-", "\u2212")

    def per_cent(self, value: float, places: int = 1, *, sign: bool = True) -> str:
        """A number of per cent, of a change with its sign."""
        one = str(self.locale.percent_formats[None].pattern)
        pattern = one.replace("0", "0" + ("." + "0" * places if places else ""), 1)
        shown = str(format_percent(abs(value) / 100.0, format=pattern, locale=self.locale))
        if not any(digit in shown for digit in "123456789"):
            return shown
        return ("\u2212" if value < 0 else "+" if sign else "") + shown

    def share(self, value: float) -> str:
        """A share of 1 as a per cent."""
        return str(format_percent(value, locale=self.locale))

    def day(self, day: date | None) -> str:
        """A day, its month as a word; nothing for none."""
        return "" if day is None else str(format_date(day, "long", locale=self.locale))

    def short_day(self, day: date) -> str:
        """A day for a table, its month abbreviated."""
        return str(format_date(day, "d MMM yyyy", locale=self.locale))

    def _currency(self, amount: Decimal, currency: str, places: int) -> str:
        pattern = self.locale.currency_formats["standard"].pattern
        whole = pattern.replace("0.00", "0" + ("." + "0" * places if places else ""))
        return str(format_currency(amount, currency, format=whole, locale=self.locale, currency_digits=False))


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
