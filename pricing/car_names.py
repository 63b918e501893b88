"""The names of the cars of a market, by which a car is found however its names are spelt."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import polars as pl

from pricing.car_fields import NAMES
from pricing.errors import CarError
from pricing.nearest import folded, nearest, without_slips

Triple = tuple[str | None, str | None, str | None]
"""Make, model and variant."""

SUGGESTED: Final = 3
LISTED: Final = 5
"""Names that a refusal suggests where one is near, or lists where none is."""


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
        known: dict[tuple[str | None, ...], dict[str, str]] = {}
        exact: dict[tuple[str | None, ...], dict[str, str]] = {}
        counts: dict[tuple[str | None, ...], dict[str, int]] = {}
        for make, model, variant, count in counted.iter_rows():
            for within, name in (((), make), ((make,), model), ((make, model), variant)):
                if name is not None:
                    known.setdefault(within, {})[folded(name)] = name
                    exact.setdefault(within, {})[name] = name
                    of_name = counts.setdefault(within, {})
                    of_name[name] = of_name.get(name, 0) + count
        return cls({within: known[within] | exact[within] for within in known}, counts)

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
        """A make, or a model of it, as the market spells them; nothing for neither.

        Raises:
            CarError: the market has none such, or a model is named without its make.
        """
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
