"""Numbers as people write them: marks between thousands, either decimal mark, thousands by a letter."""

import re
import unicodedata
from decimal import Decimal
from typing import Final

BLANK: Final = re.compile(r"[\s\u00a0\u2000-\u200b\u202f\u2060\ufeff]+")
DASHES: Final = re.compile(r"[\u2010-\u2015\u2212]")

_PARTED: Final = re.compile(r"(?<=\d)[ '\u2019\u02bc](?=\d{3}(?!\d))")
_ONE_MARK: Final = re.compile(r"(\d+)([.,])(\d+)")
_THOUSANDS: Final = re.compile(r"\d{1,3}(?:([.,])\d{3})(?:\1\d{3})*")
_BOTH: Final = re.compile(r"\d{1,3}(?:([.,])\d{3})(?:\1\d{3})*(?!\1)[.,]\d+")

_LAKHS: Final = re.compile(r"\d{1,2}(?:,\d{2})+,\d{3}(?:\.\d+)?")
"""Marks after three figures and then after every two, as in India: #,##,##0.### in the CLDR for en_IN."""
_FOOTNOTE: Final = re.compile(r"(?<=\w)\s?[*\u2020\u2021\u00a7\u00b9\u00b2\u00b3]+$")
_MANY: Final = {"l": 100_000, "c": 10_000_000, "m": 1_000_000}
"""By the first letter of lakh, crore and million."""

LONGEST: Final = 24
"""Digits of the longest number that is looked at."""


def tidied(text: str) -> str:
    """A cell with its blanks made single spaces, its dashes plain and the mark of a footnote taken off.

    >>> tidied(" 45\\u202f000\\u2013 "), tidied("£7,800*")
    ('45 000-', '£7,800')
    """
    return _FOOTNOTE.sub("", BLANK.sub(" ", DASHES.sub("-", text)).replace("\uffe5", "¥").strip())


def without_accents(text: str) -> str:
    """A text as it is typed where a keyboard has no accents.

    >>> without_accents("février")
    'fevrier'
    """
    parted = unicodedata.normalize("NFKD", text)
    return "".join(letter for letter in parted if not unicodedata.combining(letter))


def number(text: str, decimal: str = ".", *, grouped: bool = True) -> Decimal | None:
    """The number that a text is, or None; ``decimal`` decides only where both marks are possible.

    A single mark with three figures behind it parts thousands when ``grouped``, whatever the decimal mark, as
    nobody gives a price or a distance in thousandths; else only when it is not the decimal mark.

    >>> [str(number(text)) for text in ("4,250.50", "1.234,50", "45 000", "4'966.95", "4,2", "1,2,3")]
    ['4250.50', '1234.50', '45000', '4966.95', '4.2', 'None']
    >>> number("4.250", grouped=False)
    Decimal('4.250')
    """
    sign = -1 if text[:1] == "-" else 1
    plain = _PARTED.sub("", text[1:].lstrip() if text[:1] in ("-", "+") else text)
    if len(plain) > LONGEST or not plain.isascii():
        return None
    if plain.isdigit():
        return sign * Decimal(plain)
    one = _ONE_MARK.fullmatch(plain)
    if one is not None:
        whole, mark, behind = one.groups()
        parts_thousands = len(behind) == 3 and len(whole) <= 3 and whole[0] != "0"
        if parts_thousands and (grouped or mark != decimal):
            return sign * Decimal(whole + behind)
        if mark == decimal or (len(behind) <= 2 and not parts_thousands):
            return sign * Decimal(f"{whole}.{behind}")
        return None
    if _LAKHS.fullmatch(plain):
        return sign * Decimal(plain.replace(",", ""))
    if _THOUSANDS.fullmatch(plain):
        return sign * Decimal(plain.replace(",", "").replace(".", ""))
    if _BOTH.fullmatch(plain):
        at = max(plain.rfind("."), plain.rfind(","))
        return sign * Decimal(f"{plain[:at].replace(',', '').replace('.', '')}.{plain[at + 1 :]}")
    return None


def scaled(text: str, mark: str, decimal: str = ".") -> Decimal | None:
    """A number with a mark behind it that stands for a thousand, a lakh, a million or a crore.

    >>> scaled("4,5", "k"), scaled("1.2", "m"), scaled("4.500", "k"), scaled("6.5", "lakh")
    (Decimal('4500'), Decimal('1200000'), None, Decimal('650000'))
    """
    one = _ONE_MARK.fullmatch(text)
    if one is not None and len(one[3]) > 2:
        return None  # 4.500k may be four thousand five hundred or a thousand times as much
    bare = number(text, decimal)
    if bare is None:
        return None
    return (bare * _MANY.get(mark[0].lower(), 1_000)).quantize(Decimal(1))
