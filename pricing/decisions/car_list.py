"""The values of a list of cars at once: ranges and standings alone, a column a fact."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, Protocol

import polars as pl

from pricing.errors import DecisionError
from pricing.records import Contract, check

STANDING_PLACES: Final = 6
"""Decimal places of a standing."""

_SAID: Final = dict(pl.Schema(Contract))

Triple = tuple[str | None, str | None, str | None]
"""Make, model and variant."""


class GivesRanges(Protocol):
    """What the values of a list ask of a price model."""

    @property
    def facts(self) -> Mapping[str, Any]: ...

    def price_range(self, cars: pl.DataFrame, coverage: float = 0.8) -> pl.DataFrame: ...

    def standing(self, cars: pl.DataFrame, asking: Sequence[float] | pl.Series) -> pl.Series: ...


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
    model: GivesRanges,
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
    told = cars.with_columns(place=pl.int_range(pl.len(), dtype=pl.Int64))
    named = _named(told, names)
    offers = named.filter(pl.col("refused").is_null()).select(
        *(name for name in cars.columns if name != "asking"),
        *(pl.lit(None, _SAID[name]).alias(name) for name in _OFFER_GAPS if name not in cars.columns),
        record_id=pl.col("place").cast(pl.String),
        source=pl.lit("-"), source_ref=pl.lit("-"), batch_id=pl.lit("-"), event_date=pl.lit(at),
        outcome=pl.lit("asking"), price_basis=pl.lit("asking"), currency=pl.lit("EUR"),
        amount=pl.col("asking").fill_null(Decimal(1000)),
    ).with_columns(pl.col("channel").fill_null("private"), pl.col("country").fill_null("GB"))  # fmt: skip
    checked = check(offers, at)
    place = pl.col("record_id").cast(pl.Int64).alias("place")
    broken = checked.rejected.select(
        place, broke=pl.col("broken_rules").list.join("; ").str.replace_all("_", " ", literal=True)
    )
    kept = checked.accepted.with_columns(place).sort("place")
    said = kept.select("place").join(named, on="place", how="left", maintain_order="left")
    kept = kept.with_columns(said["channel"], said["country"])
    ranges = model.price_range(kept, coverage=coverage) if kept.height else _NO_RANGES
    priced = ranges.with_columns(
        kept["place"], *(pl.col(end).round(2).cast(pl.Decimal(18, 2)) for end in ("low", "mid", "high")),
        standing=pl.lit(None, pl.Float64), asking=said["asking"],
    )  # fmt: skip
    asked = pl.col("asking").is_not_null() & pl.col("reason").is_null()
    rows = priced.select(asked.arg_true()).to_series()
    if rows.len():
        shares = model.standing(kept[rows], priced["asking"][rows].cast(pl.Float64))
        priced = priced.with_columns(
            priced["standing"].scatter(rows, shares.round(STANDING_PLACES)).alias("standing")
        )
    return (
        named.select("place", "refused")
        .join(priced.drop("asking"), on="place", how="left", maintain_order="left")
        .join(broken, on="place", how="left", maintain_order="left")
        .select(
            "low", "mid", "high", "evidence", "reason", "standing",
            refused=pl.coalesce("refused", pl.col("broke")),
        )
    )  # fmt: skip


_OFFER_GAPS: Final = ("channel", "country", "variant")

_NO_RANGES: Final = pl.DataFrame(
    schema={
        "low": pl.Float64, "mid": pl.Float64, "high": pl.Float64, "evidence": pl.String, "reason": pl.String
    }
)  # fmt: skip


def _named(cars: pl.DataFrame, names: Names) -> pl.DataFrame:
    """The cars with their names as the market spells them, and ``refused`` where it does not know one."""
    triple = ("make", "model", "variant")
    distinct = cars.select(triple).unique()
    found = [names.find(row) for row in distinct.iter_rows()]
    spelt = pl.DataFrame(
        [(*same, sentence) for same, sentence in found],
        schema=dict.fromkeys(("make_", "model_", "variant_", "refused"), pl.String),
        orient="row",
    )
    return (
        cars.join(distinct.hstack(spelt), on=triple, how="left", nulls_equal=True, maintain_order="left")
        .with_columns(make="make_", model="model_", variant="variant_")
        .drop("make_", "model_", "variant_")
    )
