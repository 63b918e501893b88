"""A whole car in one cell, parted into year, make, model and variant by the names that are known."""

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

from rapidfuzz import fuzz, process

from pricing.intake.written.dates import read_year
from pricing.intake.written.numbers import tidied

_YEAR: Final = re.compile(
    r"(?<![\w.,/])(?:c\.?\s?|ca\.?\s?)?(?:(?:18[89]|19\d|20[0-2])\d(?:\s?[/-]\s?\d{1,4})?\??"
    r"|['\u2019]\d\d)(?![\w.,]\d)"
)
_PART: Final = re.compile(r"[\s,;]+")

NEAR: Final = 84.0
"""Likeness (0-100) from which words in front are taken for a slip of a known name."""

SHORTEST: Final = 5
"""Letters of a name that a slip can be told of."""


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

    @cached_property
    def models_of(self) -> dict[str, list[str]]:
        """The models of each make, folded."""
        models: dict[str, list[str]] = {}
        for make, model in self.models:
            models.setdefault(make, []).append(model)
        return models


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
    else it is not read. A slip of a known name parts the cell as the name would, and stands as it was typed:
    what it may mean is asked at the load.

    >>> names = CarNames.of([("Wexcombe", "Sedge", "de luxe"), ("Lark & Fell", "Four", None)])
    >>> car = read_car("1966 Wexcombe Sedge de luxe", names)
    >>> car.year, car.make, car.model, car.variant, car.rest
    (1966, 'Wexcombe', 'Sedge', 'de luxe', None)
    >>> car = read_car("Lark Fell Four", names, by_words=True)
    >>> car.make, car.model
    ('Lark Fell', 'Four')
    >>> read_car("LARK & FELL Four, 1971, red", names).rest, read_car("1968 Corvane Six", names).make
    ('red', None)
    """
    plain = tidied(text)
    year_match = _YEAR.search(plain)
    year = None if year_match is None else read_year(year_match[0])
    bare = plain if year_match is None else f"{plain[: year_match.start()]} {plain[year_match.end() :]}"
    words = [part for part in _PART.split(bare) if part not in ("", "-", "|", "/")]
    first, used = _longest(words, names.makes)
    if first is None:
        if not by_words or len(words) < 2:
            return SaidCar(None, None, None, year, plain or None)
        return SaidCar(words[0], words[1], " ".join(words[2:]) or None, year, None)
    make = names.makes.get(_folded(words[:used]), _joined(words[:used]))
    words = words[used:]
    second, used = _longest(words, names.models_of.get(first, ()))
    if second is None:
        if not by_words or not words:
            return SaidCar(make, None, None, year, " ".join(words) or None)
        return SaidCar(make, words[0], " ".join(words[1:]) or None, year, None)
    model = names.models.get((first, _folded(words[:used])), _joined(words[:used]))
    words = words[used:]
    variant, used = _variant(words, names, first, second)
    rest = " ".join(words[used:]).strip("()-,;: ") or None
    if variant is None and by_words:
        variant, rest = rest, None
    return SaidCar(make, model, variant, year, rest)


def _longest(words: list[str], known: Collection[str]) -> tuple[str | None, int]:
    """The known name, folded, that the most words in front make up, else the one that they are likest to, and
    how many words."""
    begun = {count: _folded(words[:count]) for count in range(min(len(words), 6), 0, -1)}
    for count, typed in begun.items():
        if typed in known:
            return typed, count
    best, near, used = None, NEAR, 0
    for count, typed in begun.items():
        likest = process.extractOne(typed, list(known), scorer=fuzz.ratio, score_cutoff=near)
        if likest is not None and len(typed) >= SHORTEST and (best is None or likest[1] > near):
            best, near, used = likest[0], likest[1], count
    return best, used


def _variant(words: list[str], names: CarNames, make: str, model: str) -> tuple[str | None, int]:
    """The known variant that the most words in front make up, and how many words."""
    for count in range(min(len(words), 6), 0, -1):
        name = names.variants.get((make, model, _folded(words[:count])))
        if name is not None:
            return name, count
    return None, 0


def _joined(words: list[str]) -> str:
    return " ".join(words).strip("(),;:")


def _folded(words: list[str]) -> str:
    return folded(" ".join(words)).strip("(),;:")
