"""A car that a market can be asked about: its names those of the market, its rules those of a sale record.

Every door (library, command, API, page, appraisal) makes its cars here, so that a car is refused everywhere
with the same sentence.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.car_fields import FIELDS, NAMES, NEEDED
from pricing.clean_text import cleaned, is_no_text, is_odd
from pricing.errors import CarError
from pricing.nearest import folded, nearest, without_slips
from pricing.records.contract import Contract, broken_rules
from pricing.records.entered_amounts import absurd
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

Triple = tuple[str | None, str | None, str | None]
"""Make, model and variant."""

_CONTRACT: Final = pl.Schema(Contract)
CAR_TYPES: Final = {name: _CONTRACT[name] for name in FIELDS}
"""The contract's types of what may be said of a car."""

READ_TYPES: Final = CAR_TYPES | {"year": pl.Int64()}
"""The same while the rules are asked: a year may then be any whole number."""

_OFFER: Final = {
    name: pl.lit(word)
    for name, word in {
        "record_id": "-", "source": "-", "source_ref": "-", "batch_id": "-", "outcome": "asking",
        "price_basis": "asking", "channel": "private", "country": "GB",
    }.items()
}  # fmt: skip
"""What the contract wants of an offer and a car need not say; it bears on no rule about the car."""

_TRIAL_PRICE: Final = Decimal(1000)
"""Stands for the price of a car that none is asked for."""

_NOT_SAID: Final = {name: pl.lit(None, kind) for name, kind in _CONTRACT.items()}
_SAID_OF_OFFERS: Final = frozenset(FIELDS) | {"amount"}


SUGGESTED: Final = 3
LISTED: Final = 5
"""Names that a refusal suggests where one is near, or lists where none is."""


@dataclass(frozen=True)
class Names:
    """The makes, models and variants of a market, to be found by any spelling that differs in capitals,
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
        found: list[str | None] = []
        for column, name in zip(NAMES, typed, strict=True):
            wanted = "" if name is None else name.strip()
            if wanted == "":
                found.append(None)
                continue
            names, counts = self.known.get(tuple(found), {}), self.counts.get(tuple(found), {})
            same = names.get(wanted, names.get(folded(wanted)))
            if same is None:
                within = f" of {' '.join(str(part) for part in found)}" if found else ""
                return typed, f"no record of the {column} {name!r}{within}{_go_on(column, wanted, counts)}"
            found.append(same)
        return (found[0], found[1], found[2]), None

    def nearest(self, typed: Triple) -> Triple:
        """The names as the market spells them, as far down as it knows them; below, as they were typed."""
        found: list[str | None] = []
        for name in typed:
            known = self.known.get(tuple(found), {})
            found.append(None if name is None else known.get(name, known.get(folded(name), name)))
        return found[0], found[1], found[2]

    def where(self, make: str | None, model: str | None = None) -> dict[str, str]:
        """A make, or a model of it, as the market spells them; nothing for neither.

        Raises:
            CarError: the market has none such, or a model is named without its make.
        """
        if make is None and model is not None:
            raise CarError(f"the model {model!r} needs its make: models of two makes may share a name")
        found, unknown = self.find((make, model, None))
        if unknown is not None:
            raise CarError(unknown)
        return {name: part for name, part in zip(NAMES, found, strict=True) if part is not None}


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


@dataclass(frozen=True, kw_only=True)
class Car:
    """A car as ``Car.checked`` lets it pass; what is None is not known, which makes its price range wider.

    The fields are ``car_fields.FIELDS``, in the units and words of the record contract.

    >>> names = Names.of(pl.DataFrame({"make": ["Corvane"], "model": ["Six"], "variant": [None]}))
    >>> Car.checked({"make": "CORVANE", "model": "six", "year": "1968"}, known=names).make
    'Corvane'
    >>> Car.checked({"make": "Corvain", "model": "Six", "year": 1968}, known=names)
    Traceback (most recent call last):
    pricing.errors.CarError: no record of the make 'Corvain'; did you mean Corvane?
    """

    make: str
    model: str
    variant: str | None = None
    year: int
    chassis_number: str | None = None
    body_style: str | None = None
    drive_side: str | None = None
    condition_band: str | None = None
    condition_score: float | None = None
    odometer_km: float | None = None
    options: tuple[str, ...] = ()
    matching_numbers: str | None = None
    history_file: bool | None = None
    channel: str | None = None
    country: str | None = None

    @classmethod
    def checked(cls, values: Mapping[str, Any], *, known: Names, at: date | None = None) -> "Car":
        """The one way to make a car.

        Args:
            values: any of ``FIELDS``; make, model and year must be said.
            known: the names of the market that is to be asked.
            at: the date that its price is to hold at; today when not given.

        Raises:
            CarError: something is said that cars have no field for, or that cannot be; make, model or year is
                missing; or the market has no such make, model or variant.
        """
        cars = pl.DataFrame([{"options": []} | read_values(values)], schema=READ_TYPES)
        named, refused = checked_cars(cars, known, today() if at is None else at)
        if refused[0] is not None:
            raise CarError(refused[0])
        said = named.row(0, named=True)
        return cls(**{name: said[name] for name in FIELDS} | {"options": tuple(said["options"])})

    def to_dict(self) -> dict[str, Any]:
        """What is said of it by name, None where nothing is."""
        return vars(self) | {"options": list(self.options)}

    def frame(self, at: date) -> pl.DataFrame:
        """The car as a price model takes it; see ``frame_of``."""
        return frame_of([self], at)

    def held(self, asking: Decimal | None, at: date) -> None:
        """Refuse a car that could not be at a date, and a price that cannot be asked for any.

        Raises:
            CarError: it is such a car or price.
        """
        cars = pl.DataFrame([self.to_dict()], schema=READ_TYPES)
        offered = cars.with_columns(asking=pl.lit(asking, _CONTRACT["amount"]))
        refused = _refusals(offered, at)
        if refused[0] is not None:
            raise CarError(refused[0])


def today() -> date:
    """The day that a car is held to when none is named."""
    return datetime.now(UTC).date()


def frame_of(cars: Sequence[Car], at: date) -> pl.DataFrame:
    """Cars as a price model takes them: the contract's types, and the date that the price is to hold at.

    >>> frame_of([Car(make="Corvane", model="Six", year=1968)], date(2024, 6, 1)).columns[-1]
    'event_date'
    """
    return typed_frame(pl.DataFrame([car.to_dict() for car in cars], schema=CAR_TYPES), at)


def typed_frame(cars: pl.DataFrame, at: date) -> pl.DataFrame:
    """Columns of cars in the contract's types, null where there are none, and the date of the price."""
    absent = {name: pl.lit([] if name == "options" else None, kind) for name, kind in CAR_TYPES.items()}
    said = {name: pl.col(name).cast(kind) for name, kind in CAR_TYPES.items() if name in cars.columns}
    return cars.select(**(absent | said), event_date=pl.lit(at))


def read_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """What is said of a car, each value as its field's kind.

    >>> read_values({"year": "1968", "variant": ""})
    {'year': 1968}

    Raises:
        CarError: cars have no such field, or a value is of another kind.
    """
    unknown = sorted(set(values) - set(FIELDS))
    if unknown:
        raise CarError(f"a car has no {', '.join(unknown)}; it has: {', '.join(FIELDS)}")
    read = {name: part.read(values.get(name)) for name, part in FIELDS.items()}
    return {name: value for name, value in read.items() if value is not None}


def described(values: Mapping[str, Any]) -> dict[str, Any]:
    """What is said of a car that is not asked about yet: any of ``FIELDS``, held to rules but to no market.

    Raises:
        CarError: something said cannot be.
    """
    said = read_values(values)
    absent: dict[str, Any] = {"make": "-", "model": "-", "year": 2000, "options": []}
    refused = _refusals(pl.DataFrame([absent | said], schema=READ_TYPES), today())
    if refused[0] is not None:
        raise CarError(refused[0])
    return said


def checked_cars(
    cars: pl.DataFrame, known: Names, at: date, currency: str = "EUR"
) -> tuple[pl.DataFrame, pl.Series]:
    """Many cars at once, by the rules of ``Car.checked``.

    Args:
        cars: columns of ``FIELDS``, and ``asking`` (a price in ``currency``, or null) where one may be
            asked.

    Returns:
        The cars as a price model takes them, with the market's spelling of names (``asking`` goes along), and
        for each null or the sentence that refuses it; the row of a car that is refused means nothing.
    """
    bare = _cleaned(cars)
    triples = list(zip(*(bare[name].to_list() for name in NAMES), strict=True))
    places = {triple: place for place, triple in enumerate(dict.fromkeys(triples))}
    rows = np.fromiter(map(places.__getitem__, triples), np.uint32, len(triples))
    found = [known.find(triple) for triple in places]
    spelt = [pl.Series(name, [same[n] for same, _ in found], pl.String)[rows] for n, name in enumerate(NAMES)]
    unknown = pl.Series("refused", [sentence for _, sentence in found], pl.String)[rows]
    named = bare.with_columns(spelt)
    refused = _refusals(named, at, unknown, currency)
    year = pl.when(refused.is_null()).then("year")
    others = [name for name in cars.columns if name not in FIELDS]
    return typed_frame(named.with_columns(year), at).hstack(named.select(others)), refused


def _cleaned(cars: pl.DataFrame) -> pl.DataFrame:
    """Cars with their texts as ``clean_text`` has them, blank ones null; ``unreadable`` where one is no
    text."""
    text = pl.col(pl.String)
    odd = [name for name in cars.columns if cars.schema[name] == pl.String and is_odd(cars[name])]
    bare = cars.with_columns(text.str.strip_chars()).with_columns(cleaned(pl.col(name)) for name in odd)
    free = [name for name in odd if name in FIELDS and not FIELDS[name].words and name not in NAMES]
    told = [pl.when(is_no_text(pl.col(name))).then(pl.lit(f"{name}_unreadable")) for name in free]
    unreadable = [pl.concat_list(told).list.drop_nulls().alias("unreadable")] if told else []
    return bare.with_columns(pl.when(text != "").then(text), *unreadable)


def _refusals(
    cars: pl.DataFrame, at: date, unknown: pl.Series | None = None, currency: str = "EUR"
) -> pl.Series:
    """For every car the sentence that refuses it, or null; ``unknown`` says which names are not known."""
    said = {name: pl.col(name) for name in FIELDS if name in cars.columns}
    told = {name: cell if name not in said else said[name].fill_null(cell) for name, cell in _OFFER.items()}
    asking = pl.col("asking").cast(_CONTRACT["amount"]) if "asking" in cars.columns else pl.lit(None)
    told |= {
        "event_date": pl.lit(at),
        "currency": pl.lit(currency),
        "amount": asking.fill_null(pl.lit(_TRIAL_PRICE, _CONTRACT["amount"])),
    }
    unreadable = {name: pl.col(name) for name in ("unreadable",) if name in cars.columns}
    broken = broken_rules(cars.select(**(_NOT_SAID | said | told | unreadable)), at, _SAID_OF_OFFERS)
    names = pl.Series([None], dtype=pl.String).new_from_index(0, cars.height) if unknown is None else unknown
    bad = broken.is_not_null() | names.is_not_null()
    if not bad.any():
        return names.rename("refused")
    rows = cars.with_columns(broken=broken, unknown=names).filter(bad).iter_rows(named=True)
    sentences = pl.Series("refused", [_sentence(row, at, currency) for row in rows], pl.String)
    return sentences.gather(pl.select(pl.when(bad).then(bad.cum_sum() - 1)).to_series())


def _sentence(row: Mapping[str, Any], at: date, currency: str) -> str:
    """Why a car is refused: what is missing, else which name is not known, else what cannot be."""
    rules = [] if row["broken"] is None else row["broken"]
    missing = [name for name in NEEDED if f"{name}_missing" in rules]
    if missing:
        return f"a car needs make, model and year to be valued; missing: {', '.join(missing)}"
    if row["unknown"] is not None:
        return str(row["unknown"])
    return "; ".join(dict.fromkeys(_broken(rule, row, at, currency) for rule in rules))


def _broken(rule: str, row: Mapping[str, Any], at: date, currency: str) -> str:
    """A broken rule as a sentence: which, what was got, and what was expected."""
    named = (name for name in FIELDS if rule.startswith(name.removesuffix("s").removesuffix("_km")))
    name, words = next(named, None), rule.replace("_", " ")
    if name is None:
        if "amount" in rule and row["asking"] is not None:
            return absurd("asking price", row["asking"], currency)
        return words.replace("amount", "asking price")
    asked, got = FIELDS[name], row[name]
    if rule == "condition_score_outside_band":
        place = CONDITION_BANDS.index(row["condition_band"])
        low, high = BAND_EDGES[place : place + 2]
        return f"{words}: got {got}, expected {low:g} to {high:g} in the band {row['condition_band']!r}"
    if asked.words and "unknown" in rule:
        wrong = [word for word in got if word not in asked.words] if asked.kind == "texts" else got
        meant = _meant(wrong if isinstance(wrong, list) else [wrong], asked.words)
        return f"{words}: got {wrong!r}, expected one of: {', '.join(asked.words)}{meant}"
    most = at.year + 1 if name == "year" else asked.most
    if asked.least is not None and most is not None:
        unit = f" {asked.unit}" if asked.unit else ""
        return f"{words}: got {got}, expected {_plain(asked.least)} to {_plain(most)}{unit}"
    return f"{words}: got {got!r}" + (f", expected {asked.asks}" if "unknown" in rule else "")


def _plain(number: float) -> str:
    return f"{number:,.0f}" if number > 9999 else f"{number:.0f}"


def _meant(wrong: Sequence[str], words: Sequence[str]) -> str:
    near = list(_nearest(wrong, words))
    return f"; did you mean {' and '.join(near)}?" if near else ""


def _nearest(wrong: Sequence[str], words: Sequence[str]) -> Iterator[str]:
    for word in wrong:
        yield from nearest(word, words)[:1]
