"""Model years as people write them, and ages."""

import re
from typing import Final

from pricing.intake.written.numbers import tidied

_IN_BRACKETS: Final = re.compile(r"[(\[].*?[)\]]")
_YEAR: Final = re.compile(r"(?<!\d)(?:18[89]\d|19\d\d|20[0-4]\d)(?!\d)")
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
    years = {int(year) for year in _YEAR.findall(_SECOND.sub("", plain))}
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
