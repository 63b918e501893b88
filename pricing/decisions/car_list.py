"""The values of a list of cars at once: ranges and standings alone, a column a fact."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Protocol

import numpy as np
import polars as pl

from pricing.decisions.car import broken_car_rules
from pricing.decisions.price_by_score import GivesDistributions
from pricing.errors import DecisionError

STANDING_PLACES: Final = 6
"""Decimal places of a standing."""

Triple = tuple[str | None, str | None, str | None]
"""Make, model and variant."""


class ListModel(GivesDistributions, Protocol):
    """What the values of a list ask of a price model."""

    @property
    def facts(self) -> Mapping[str, Any]: ...


@dataclass(frozen=True)
class Names:
    """The makes, models and variants of a market, to be found by any spelling that differs in capitals alone.

    >>> names = Names.of(pl.DataFrame({"make": ["Corvane"], "model": ["Six"], "variant": [None]}))
    >>> names.find(("corvane ", "SIX", ""))
    (('Corvane', 'Six', None), None)
    >>> names.find(("Corvane", "Nine", None))[1]
    "no record of the model 'Nine' of Corvane"
    """

    known: Mapping[tuple[str | None, ...], Mapping[str, str]]

    @classmethod
    def of(cls, sales: pl.DataFrame) -> "Names":
        """From a frame of sales; of two spellings the more frequent one is meant."""
        counted = (
            sales.select(pl.col("make", "model", "variant").cast(pl.String))
            .group_by(pl.all()).len().sort("len", "make", "model", "variant")
        )  # fmt: skip
        known: dict[tuple[str | None, ...], dict[str, str]] = {}
        exact: dict[tuple[str | None, ...], dict[str, str]] = {}
        for make, model, variant, _ in counted.iter_rows():
            for within, name in (((), make), ((make,), model), ((make, model), variant)):
                if name is not None:
                    known.setdefault(within, {})[name.casefold()] = name
                    exact.setdefault(within, {})[name] = name
        return cls({within: known[within] | exact[within] for within in known})

    def find(self, typed: Triple) -> tuple[Triple, str | None]:
        """The names as the market spells them, and the sentence that says which of them it does not know."""
        found: list[str | None] = []
        for column, name in zip(("make", "model", "variant"), typed, strict=True):
            wanted = "" if name is None else name.strip()
            if wanted == "":
                found.append(None)
                continue
            names = self.known.get(tuple(found), {})
            same = names.get(wanted, names.get(wanted.casefold()))
            if same is None:
                within = f" of {' '.join(str(part) for part in found)}" if found else ""
                return typed, f"no record of the {column} {name!r}{within}"
            found.append(same)
        return (found[0], found[1], found[2]), None


def value_list(
    names: Names,
    model: ListModel,
    cars: pl.DataFrame,
    *,
    as_of: date | None = None,
    coverage: float = 0.8,
) -> pl.DataFrame:
    """Value a list of cars, each as ``value_car`` would.

    Args:
        names: those of the market that the model was fitted on.
        model: a price model.
        cars: a row a car, of the columns of ``car.CAR_COLUMNS`` as in the record contract, and ``asking``, a
            price asked for it or null.
        as_of: the date the prices hold at; the last sale the model has seen when not given.
        coverage: share of like cars that each range is to hold.

    Returns:
        A row a car: ``low``, ``mid``, ``high`` (null without a range), ``evidence``, ``reason`` (why there is
        no range), ``standing`` (share of like cars that would sell for less than ``asking``; null without)
        and ``refused``: null, or why this car cannot be valued at all.

    Raises:
        DecisionError: the model has seen sales after ``as_of``.
    """
    last = date.fromisoformat(model.facts["last_date"])
    at = last if as_of is None else as_of
    if at < last:
        raise DecisionError(
            f"the price model has seen sales up to {last}, after {at}: fit one on the sales up to {at}"
        )
    named, refused = _named(cars, names, at)
    if refused.null_count() == named.height:
        return _priced(model, named, coverage).with_columns(refused)
    kept = refused.is_null()
    places = named.select(place=pl.int_range(pl.len(), dtype=pl.Int64))
    priced = _priced(model, named.filter(kept), coverage).with_columns(places["place"].filter(kept))
    found = places.join(priced, on="place", how="left", maintain_order="left")
    return found.drop("place").with_columns(refused)


def _priced(model: GivesDistributions, cars: pl.DataFrame, coverage: float) -> pl.DataFrame:
    """The values of cars of which none is refused."""
    if not cars.height:
        return pl.DataFrame(schema=_VALUES)
    return (
        model.distribution(cars)
        .ranges(coverage, cars["asking"])
        .select(
            pl.col("low", "mid", "high").round(2).cast(_VALUES["low"]),
            "evidence",
            "reason",
            "remark",
            pl.col("standing").round(STANDING_PLACES),
        )
    )


_VALUES: Final = {
    "low": pl.Decimal(18, 2), "mid": pl.Decimal(18, 2), "high": pl.Decimal(18, 2), "evidence": pl.String(),
    "reason": pl.String(), "remark": pl.String(), "standing": pl.Float64(),
}  # fmt: skip


def _named(cars: pl.DataFrame, names: Names, at: date) -> tuple[pl.DataFrame, pl.Series]:
    """The cars at a date with their names as the market spells them, and why those that are refused are."""
    triples = list(zip(*(cars[name].to_list() for name in _TRIPLE), strict=True))
    places = {triple: place for place, triple in enumerate(dict.fromkeys(triples))}
    rows = np.fromiter(map(places.__getitem__, triples), np.uint32, len(triples))
    found = [names.find(triple) for triple in places]
    spelt = [pl.Series(name, [same[n] for same, _ in found], pl.String) for n, name in enumerate(_TRIPLE)]
    named = cars.with_columns(*(column[rows] for column in spelt), event_date=pl.lit(at))
    unknown = pl.Series("refused", [sentence for _, sentence in found], pl.String)[rows]
    broken = broken_car_rules(named, at)
    if broken.null_count() == len(broken):
        return named, unknown
    sentences = broken.list.join("; ").str.replace_all("_", " ", literal=True)
    return named, unknown.zip_with(unknown.is_not_null(), sentences)


_TRIPLE: Final = ("make", "model", "variant")
