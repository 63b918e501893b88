"""A whole car in one cell, parted into year, make, model and variant by the names that are known."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from pricing.intake.written.numbers import tidied
from pricing.intake.written.years import read_year

_YEAR: Final = re.compile(
    r"(?<![\w.,/])(?:c\.?\s?|ca\.?\s?)?(?:(?:18[89]|19\d|20[0-2])\d(?:\s?[/-]\s?\d{1,4})?\??"
    r"|['\u2019]\d\d)(?![\w.,]\d)"
)
_PART: Final = re.compile(r"[\s,;]+")


@dataclass(frozen=True)
class CarNames:
    """The names of a market's cars: models by make, variants by make and model, folded = as the market
    spells them."""

    makes: dict[str, str] = field(default_factory=dict)
    models: dict[tuple[str, str], str] = field(default_factory=dict)
    variants: dict[tuple[str, str, str], str] = field(default_factory=dict)

    @classmethod
    def of(cls, rows: Iterable[tuple[str, str, str | None]]) -> "CarNames":
        """From makes, models and variants, those of most records first.

        >>> CarNames.of([("Wexcombe", "Sedge", "de luxe")]).makes
        {'wexcombe': 'Wexcombe'}
        """
        names = cls()
        for make, model, variant in rows:
            first, second = folded(make), folded(model)
            names.makes.setdefault(first, make)
            names.models.setdefault((first, second), model)
            if variant:
                names.variants.setdefault((first, second, folded(variant)), variant)
        return names


@dataclass(frozen=True, slots=True)
class SaidCar:
    """What a cell says of a car; ``rest`` is what no name accounts for."""

    make: str | None
    model: str | None
    variant: str | None
    year: int | None
    rest: str | None


def folded(name: str) -> str:
    """A name without what capitals and blanks make different."""
    return " ".join(name.lower().split())


def read_car(text: str, names: CarNames, *, by_words: bool = False) -> SaidCar:
    """The car that a cell says.

    ``by_words``: a make that is not known is the first word, its model the second, and the rest the variant;
    else it is not read.

    >>> names = CarNames.of([("Wexcombe", "Sedge", "de luxe"), ("Lark & Fell", "Four", None)])
    >>> said = read_car("1966 Wexcombe Sedge de luxe", names)
    >>> said.year, said.make, said.model, said.variant, said.rest
    (1966, 'Wexcombe', 'Sedge', 'de luxe', None)
    >>> read_car("LARK & FELL Four, 1971, red", names).rest, read_car("1968 Corvane Six", names).make
    ('red', None)
    """
    plain = tidied(text)
    found = _YEAR.search(plain)
    year = None if found is None else read_year(found[0])
    bare = plain if found is None else f"{plain[: found.start()]} {plain[found.end() :]}"
    words = [part for part in _PART.split(bare) if part not in ("", "-", "|", "/")]
    make, used = _longest(words, lambda name: names.makes.get(name))
    if make is None:
        if not by_words or len(words) < 2:
            return SaidCar(None, None, None, year, plain or None)
        return SaidCar(words[0], words[1], " ".join(words[2:]) or None, year, None)
    first = folded(make)
    words = words[used:]
    model, used = _longest(words, lambda name: names.models.get((first, name)))
    if model is None:
        if not by_words or not words:
            return SaidCar(make, None, None, year, " ".join(words) or None)
        return SaidCar(make, words[0], " ".join(words[1:]) or None, year, None)
    second = folded(model)
    words = words[used:]
    variant, used = _longest(words, lambda name: names.variants.get((first, second, name)))
    rest = " ".join(words[used:]).strip("()-,;: ")
    if variant is None and by_words and rest:
        return SaidCar(make, model, rest, year, None)
    return SaidCar(make, model, variant, year, rest or None)


def _longest(words: list[str], known: Callable[[str], str | None]) -> tuple[str | None, int]:
    """The known name that the most words in front make up, and how many words."""
    for count in range(min(len(words), 6), 0, -1):
        name = known(folded(" ".join(words[:count])).strip("(),;:"))
        if name is not None:
            return name, count
    return None, 0
