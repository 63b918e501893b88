"""Odometer readings as people write them, with the unit where the cell says it."""

import re
from decimal import Decimal
from typing import Final

from pricing.intake.written.numbers import number, scaled, tidied
from pricing.vocabulary import DISTANCE_UNITS

_UNITS: Final = {
    "km": r"kms?|kilom[eèé]t(?:er|re|ro)s?|kilometri|kilómetros?|chilometri|quilómetros",
    "miles": r"miles?|mls?|mi|m|meilen|miglia|millas|mijlen?|engelska mil",
    "mil": r"mil|svenska mil",
}
"""Swedish mil are ten kilometres (Nationalencyklopedin, from memory)."""
_FEWEST_MIL: Final = 500
"""Below this ``mil`` may be the Spanish thousand, as in ``97 mil``: it is read only where the column is in
Swedish mil."""
_WORDS: Final = (
    r"showing|shown|indicated|recorded|genuine|warranted|from new|on the clock|only|just|approx\.?|about"
    r"|circa|ca\.?|c\.?|~|abgelesen|laut tacho|original|au compteur|réels?|certificati|reales|afgelezen"
    r"|environ|env\.|etwa|rund|abgel\.?|est(?:imated)?\.?|laut tacho|abgelesene?|plus|cirka|ungefär|unos"
    r"|aprox\.?|ongeveer|or so|odo(?:meter)?:?|mileage:?"
)
_CELL: Final = re.compile(
    rf"(?:(?:{_WORDS})\s*)*([\d., '\u2019]*\d)\s?(k(?!m|il)|k(?=km)|tsd\.?|t(?=\s?km|$)|mila|mille)?\s?"
    rf"(?:({_UNITS['km']})|({_UNITS['miles']})|({_UNITS['mil']}))?\.?\+?(?:\s*(?:{_WORDS}))*",
    re.IGNORECASE,
)
_IN_BRACKETS: Final = re.compile(r"\s*[(\[](.*?)[)\]]")
_SAME: Final = Decimal("0.02")
"""Two readings of one cell may differ by this share and be one."""

Distance = tuple[Decimal, str | None]


def read_distance(text: str, unit: str = "km", decimal: str = ".") -> Distance | None:
    """Kilometres, and the unit that the cell itself says (``km`` or ``miles``), which goes before ``unit``.

    >>> read_distance("54,000 miles"), read_distance("92 000 km", "miles"), read_distance("54k", "miles")
    ((Decimal('86904.6'), 'miles'), (Decimal('92000.0'), 'km'), (Decimal('86904.6'), None))
    >>> [read_distance(text, unit) for text, unit in (("TMU", "km"), ("54,000", "unknown"), ("97 mil", "km"))]
    [None, None, None]
    """
    plain = tidied(text)
    if len(plain) > 80:
        return None
    aside = _IN_BRACKETS.search(plain)
    distance = _read(_IN_BRACKETS.sub("", plain), unit, decimal)
    if distance is None or aside is None:
        return distance
    other = _read(aside[1], unit, decimal)
    if other is None:  # what stands in brackets is no distance: a word, or a doubt
        return distance if re.fullmatch(rf"(?:{_WORDS}|\s)+", aside[1], re.IGNORECASE) else None
    return distance if abs(distance[0] - other[0]) <= _SAME * distance[0] else None


def _read(plain: str, unit: str, decimal: str) -> Distance | None:
    cell = _CELL.fullmatch(plain)
    if cell is None:
        return None
    figures, thousand, km, miles, mil = cell.groups()
    read = number(figures, decimal) if thousand is None else scaled(figures, "k", decimal)
    if read is None:
        return None
    if mil is not None and unit != "mil" and read < _FEWEST_MIL:
        return None
    own = "km" if km or mil else "miles" if miles else None
    stated = unit.removeprefix("thousand ") if thousand is not None else unit
    factor = DISTANCE_UNITS.get("mil" if mil is not None else own or stated)
    if factor is None:  # no unit is stated, and the cell says none
        return None
    return (read * Decimal(str(factor))).quantize(Decimal("0.1")), own
