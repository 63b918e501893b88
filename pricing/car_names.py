"""The names of the cars of a market, by which a car is found however its names are spelt: each by itself, or
all in one box, in any order, with slips of the pen and two figures for the year."""

import itertools
import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from rapidfuzz import fuzz, process

from pricing.arrays import Floats, Ints
from pricing.car_fields import NAMES
from pricing.errors import CarError
from pricing.nearest import folded, nearest, without_slips
from pricing.vocabulary import FIRST_YEAR

Triple = tuple[str | None, str | None, str | None]
"""Make, model and variant."""

SUGGESTED: Final = 3
LISTED: Final = 5
"""Names that a refusal suggests where one is near, or lists where none is."""

FOUND: Final = 0.74
"""Mean likeness of the typed words to a car's names from which it is found."""

SURE: Final = 0.06
"""By how much the likeness of another model must be less, for the first to be meant beyond doubt."""

IN_ORDER: Final = 0.08
"""What it adds to the likeness that all words stand side by side as typed."""

LEAST: Final = 0.58
"""Likeness that every typed word must have to one of a car's names."""

BEGINNING: Final = 0.94
"""Likeness of a word to a name that begins with it, in full."""

LONGEST: Final = 120
"""Characters of what is typed that are looked at."""

_VARIANT: Final = 1
_INITIALS: Final = 2
_PART: Final = re.compile(r"\d+|[^\W\d_]+")


@dataclass(frozen=True)
class Names:
    """The makes, models and variants of a market, to be spelt by any spelling that differs in capitals,
    accents and spaces alone.

    >>> names = Names.of(pl.DataFrame({"make": ["Corvané"], "model": ["Six"], "variant": [None]}))
    >>> names.find(("corvane ", "SIX", ""))
    (('Corvané', 'Six', None), None)
    >>> names.find(("Corvain", None, None))[1]
    "no record of the make 'Corvain'; did you mean Corvané?"
    """

    known: Mapping[tuple[str | None, ...], Mapping[str, str]]
    counts: Mapping[tuple[str | None, ...], Mapping[str, int]]
    """How many records each name has: one that is likely a slip of another is not suggested."""

    @classmethod
    def of(cls, *records: pl.DataFrame) -> "Names":
        """From frames of sales and of what people say; of two spellings the more frequent one is meant."""
        named = pl.concat([frame.select(pl.col(NAMES).cast(pl.String)) for frame in records])
        counted = named.group_by(pl.all()).len().sort("len", *NAMES)
        known: dict[tuple[str | None, ...], dict[str, str]] = defaultdict(dict)
        counts: dict[tuple[str | None, ...], Counter[str]] = defaultdict(Counter)
        for make, model, variant, count in counted.iter_rows():
            for within, name in (((), make), ((make,), model), ((make, model), variant)):
                if name is not None:
                    known[within][folded(name)] = name
                    counts[within][name] += count
        exact = {within: {name: name for name in names} for within, names in counts.items()}
        return cls({within: known[within] | exact[within] for within in exact}, dict(counts))

    def find(self, typed: Triple) -> tuple[Triple, str | None]:
        """The names as the market spells them, and the sentence that says which of them it does not know."""
        spelt: list[str | None] = []
        for column, name in zip(NAMES, typed, strict=True):
            wanted = "" if name is None else name.strip()
            if wanted == "":
                spelt.append(None)
                continue
            names, counts = self.known.get(tuple(spelt), {}), self.counts.get(tuple(spelt), {})
            same = names.get(wanted, names.get(folded(wanted)))
            if same is None:
                within = f" of {' '.join(str(part) for part in spelt)}" if spelt else ""
                return typed, f"no record of the {column} {name!r}{within}{_go_on(column, wanted, counts)}"
            spelt.append(same)
        return (spelt[0], spelt[1], spelt[2]), None

    def nearest(self, typed: Triple) -> Triple:
        """The names as the market spells them, as far down as it knows them; below, as they were typed."""
        spelt: list[str | None] = []
        for name in typed:
            known = self.known.get(tuple(spelt), {})
            spelt.append(None if name is None else known.get(name, known.get(folded(name), name)))
        return spelt[0], spelt[1], spelt[2]

    def where(self, make: str | None, model: str | None = None) -> dict[str, str]:
        """A make, or a model of it, as the market spells them; nothing for neither. Raises ``CarError`` where
        the market has none such, or a model is named without its make."""
        if make is None and model is not None:
            raise CarError(f"the model {model!r} needs its make: models of two makes may share a name")
        spelt, unknown = self.find((make, model, None))
        if unknown is not None:
            raise CarError(unknown)
        return {name: part for name, part in zip(NAMES, spelt, strict=True) if part is not None}


def _go_on(column: str, wanted: str, counts: Mapping[str, int]) -> str:
    """After a name that is not known: which may be meant, or how to go on without it."""
    near = without_slips(nearest(wanted, counts, 2 * SUGGESTED), counts)[:SUGGESTED]
    if near:
        return f"; did you mean {' or '.join(near)}?"
    known = sorted(counts, key=lambda name: -counts[name])
    listed = without_slips(known[: 2 * LISTED], counts)[:LISTED]
    some = f"; on record: {', '.join(listed)}{', ...' if len(known) > len(listed) else ''}" if known else ""
    rest = "leave it out, or load" if column == "variant" else "load"
    return f"{some}; to go on, {rest} sale records of it"


@dataclass(frozen=True)
class FoundCar:
    """A car of the market that was found: what was typed of it, and how alike it is (from 0 to 1, a little
    more where the words stand in the same order)."""

    make: str
    model: str
    variant: str | None
    year: int | None
    likeness: float

    @property
    def words(self) -> str:
        """The car in one line.

        >>> FoundCar("Wexcombe", "Sedge", "de luxe", 1966, 1.0).words
        '1966 Wexcombe Sedge de luxe'
        """
        return " ".join(str(part) for part in (self.year, self.make, self.model, self.variant) if part)


@dataclass(frozen=True)
class CarSearch:
    """The names of a market's cars, laid out to be searched.

    Args:
        names: makes, models and variants, the models also without a variant.
        sales: records of each.
        vocabulary: the words that all names are made of.
        parts: for each car the places of its words in the vocabulary, filled up with an empty word.
        own: for each of these places what kind of word stands there.
        lines: all words of each car side by side.
    """

    names: pl.DataFrame
    sales: Floats
    vocabulary: Sequence[str]
    parts: Ints
    own: Ints
    lines: pl.Series

    @classmethod
    def of(cls, counts: pl.DataFrame) -> "CarSearch":
        """From ``make``, ``model``, ``variant`` and ``sales``, as ``Snapshot.counts`` has them.

        >>> counts = pl.DataFrame(
        ...     {"make": ["Wexcombe"] * 2, "model": ["Sedge"] * 2, "variant": ["de luxe", None],
        ...      "sales": [4, 9]}
        ... )
        >>> [found.words for found in CarSearch.of(counts).find("66 sedge")]
        ['1966 Wexcombe Sedge', '1966 Wexcombe Sedge de luxe']
        >>> CarSearch.of(counts).find("Wexcomb séde 1971")[0].words, CarSearch.of(counts).find("tractor")
        ('1971 Wexcombe Sedge', [])
        """
        models = counts.group_by("make", "model", maintain_order=True).agg(pl.col("sales").sum())
        bare = models.select("make", "model", pl.lit(None, pl.String).alias("variant"), "sales")
        varied = counts.drop_nulls("variant").select(*NAMES, "sales")
        names = pl.concat([bare, varied.cast({"sales": bare.schema["sales"]})]).drop_nulls("model")
        rows = [[_words(name or "") for name in row] for row in names.select(NAMES).iter_rows()]
        words = [[*make, *model, *variant, *_initials(variant)] for make, model, variant in rows]
        vocabulary = [*sorted({word for row in words for word in row}), ""]
        place = {word: at for at, word in enumerate(vocabulary)}
        widest = max((len(row) for row in words), default=1)
        parts = np.full((len(words), widest), len(vocabulary) - 1)
        for at, row in enumerate(words):
            parts[at, : len(row)] = [place[word] for word in row]
        own = np.zeros_like(parts)
        for at, (make, model, variant) in enumerate(rows):
            first = len(make) + len(model)
            own[at, first : first + len(variant)] = _VARIANT
            own[at, first + len(variant) : len(words[at])] = _INITIALS
        lines = pl.Series([f" {' '.join(row)} " for row in words], dtype=pl.String)
        return cls(names, names["sales"].to_numpy().astype(float), vocabulary, parts, own, lines)

    def find(self, typed: str, most: int = 5) -> list[FoundCar]:
        """The cars that are meant, the likest first; nothing where none is near."""
        words = _words(typed[:LONGEST])
        if not words or self.names.is_empty():
            return []
        year, words = self._year(words)
        if not words:
            return []
        near = process.cdist(words, self.vocabulary, scorer=fuzz.ratio) / 100.0
        begins = np.array([[name.startswith(word) for name in self.vocabulary] for word in words])
        near = np.where(begins & (near < 1.0), np.maximum(near, BEGINNING), near)
        of_rows = near[:, self.parts]
        best = of_rows.max(axis=2)
        likeness = best.mean(axis=0) + IN_ORDER * self._in_order(words)
        named = (of_rows >= BEGINNING).any(axis=0)
        unnamed = ((self.own == _VARIANT) & ~named).sum(axis=1)
        unnamed[((self.own == _INITIALS) & named).any(axis=1)] = 0
        order = np.lexsort((-self.sales, unnamed, -np.round(likeness, 2)))
        fits = (likeness >= FOUND) & (best.min(axis=0) >= LEAST)
        picked = [int(row) for row in order if fits[row]][:most]
        cars = self.names[picked].select(NAMES).iter_rows(named=True)
        return [
            FoundCar(**car, year=year, likeness=float(likeness[row]))
            for car, row in zip(cars, picked, strict=True)
        ]

    @staticmethod
    def meant(cars: Sequence[FoundCar]) -> FoundCar | None:
        """The car that is meant beyond doubt: the first, where no other model is as near; None else.

        >>> cars = [FoundCar("Wexcombe", "Sedge", variant, 1966, 1.0) for variant in ("de luxe", None)]
        >>> CarSearch.meant(cars).variant, CarSearch.meant([])
        ('de luxe', None)
        >>> CarSearch.meant([*cars, FoundCar("Lark", "Sedge", None, 1966, 0.99)]) is None
        True
        """
        near = [other for other in cars if other.likeness > cars[0].likeness - SURE]
        return cars[0] if near and len({(other.make, other.model) for other in near}) == 1 else None

    def _in_order(self, words: list[str]) -> Floats:
        """The share of typed neighbours that are neighbours in each name."""
        pairs = [f" {one} {other} " for one, other in itertools.pairwise(words)]
        beside = [self.lines.str.contains(pair, literal=True).to_numpy().astype(float) for pair in pairs]
        return np.mean(beside, axis=0) if beside else np.zeros(len(self.lines))

    def _year(self, words: list[str]) -> tuple[int | None, list[str]]:
        """A model year among the words, in four figures or in two that no name has, and the words without."""
        names = set(self.vocabulary)
        for at, word in enumerate(words):
            if word.isdecimal() and (len(word) == 4 or (len(word) == 2 and word not in names)):
                year = int(word) + (1900 if len(word) == 2 else 0)
                if FIRST_YEAR <= year <= 2100:
                    return year, words[:at] + words[at + 1 :]
        return None, words


def _words(text: str) -> list[str]:
    """Letters and figures apart, without capitals and accents."""
    return _PART.findall(folded(text))


def _initials(words: list[str]) -> list[str]:
    """The first letters of several words as one, as people shorten a variant."""
    return ["".join(word[0] for word in words)] if len(words) > 1 else []
