"""A car that a market can be asked about: its names those of the market, its rules those of a sale record.

Every door (library, command, API, page, appraisal) makes its cars here, so that a car is refused everywhere
with the same sentence.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.car_fields import FIELDS, NAMES, NEEDED
from pricing.car_names import Names
from pricing.clean_text import cleaned, is_no_text, is_odd
from pricing.errors import CarError
from pricing.nearest import nearest
from pricing.records.contract import Contract, broken_rules
from pricing.records.entered_amounts import absurd
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

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

_UNSTATED: Final = {name: pl.lit(None, kind) for name, kind in _CONTRACT.items()}
_ABOUT: Final = frozenset(FIELDS) | {"amount"}


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
        _raise(refused)
        cells = named.row(0, named=True)
        return cls(**{name: cells[name] for name in FIELDS} | {"options": tuple(cells["options"])})

    def to_dict(self) -> dict[str, Any]:
        """What is said of it by name, None where nothing is."""
        return vars(self) | {"options": list(self.options)}

    def frame(self, at: date) -> pl.DataFrame:
        """The car as a price model takes it; see ``frame_of``."""
        return frame_of([self], at)

    def held(self, asking: Decimal | None, at: date) -> None:
        """Refuse a car that could not be at a date, and a price that cannot be asked for any. Raises
        ``CarError`` where it is such a car or price."""
        cars = pl.DataFrame([self.to_dict()], schema=READ_TYPES)
        _raise(_refusals(cars.with_columns(asking=pl.lit(asking, _CONTRACT["amount"])), at))


def _raise(refused: pl.Series) -> None:
    """Refuse the one car that was checked, where there is a sentence that does."""
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
    stated = {name: pl.col(name).cast(kind) for name, kind in CAR_TYPES.items() if name in cars.columns}
    return cars.select(**(absent | stated), event_date=pl.lit(at))


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
    Raises ``CarError`` where something said cannot be."""
    read = read_values(values)
    absent: dict[str, Any] = {"make": "-", "model": "-", "year": 2000, "options": []}
    _raise(_refusals(pl.DataFrame([absent | read], schema=READ_TYPES), today()))
    return read


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
    names = [known.find(triple) for triple in places]
    spelt = [pl.Series(name, [same[n] for same, _ in names], pl.String)[rows] for n, name in enumerate(NAMES)]
    unknown = pl.Series("refused", [sentence for _, sentence in names], pl.String)[rows]
    named = bare.with_columns(spelt)
    refused = _refusals(named, at, unknown, currency)
    if refused.null_count() < len(refused):  # what is no year need be none of a price model's
        named = named.with_columns(pl.when(refused.is_null()).then("year"))
    others = [named[name] for name in cars.columns if name not in FIELDS]
    return typed_frame(named, at).hstack(others), refused


def _cleaned(cars: pl.DataFrame) -> pl.DataFrame:
    """Cars with texts as ``clean_text`` has them, blank ones null; ``unreadable`` where one is no text."""
    text = pl.col(pl.String)
    odd = [name for name in cars.columns if cars.schema[name] == pl.String and is_odd(cars[name])]
    bare = (
        cars.lazy().with_columns(text.str.strip_chars()).with_columns(cleaned(pl.col(name)) for name in odd)
    )
    free = [name for name in odd if name in FIELDS and not FIELDS[name].words and name not in NAMES]
    rules = [pl.when(is_no_text(pl.col(name))).then(pl.lit(f"{name}_unreadable")) for name in free]
    unreadable = [pl.concat_list(rules).list.drop_nulls().alias("unreadable")] if rules else []
    return bare.with_columns(pl.when(text != "").then(text), *unreadable).collect()


def _refusals(
    cars: pl.DataFrame, at: date, unknown: pl.Series | None = None, currency: str = "EUR"
) -> pl.Series:
    """For every car the sentence that refuses it, or null; ``unknown`` says which names are not known."""
    stated = {name: pl.col(name) for name in FIELDS if name in cars.columns}
    offer = {name: stated[name].fill_null(cell) if name in stated else cell for name, cell in _OFFER.items()}
    asking = pl.col("asking").cast(_CONTRACT["amount"]) if "asking" in cars.columns else pl.lit(None)
    offer |= {
        "event_date": pl.lit(at),
        "currency": pl.lit(currency),
        "amount": asking.fill_null(pl.lit(_TRIAL_PRICE, _CONTRACT["amount"])),
    }
    unreadable = {name: pl.col(name) for name in ("unreadable",) if name in cars.columns}
    broken = broken_rules(cars.select(**(_UNSTATED | stated | offer | unreadable)), at, _ABOUT)
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
    part, got = FIELDS[name], row[name]
    if rule == "condition_score_outside_band":
        place = CONDITION_BANDS.index(row["condition_band"])
        low, high = BAND_EDGES[place : place + 2]
        return f"{words}: got {got}, expected {low:g} to {high:g} in the band {row['condition_band']!r}"
    if part.words and "unknown" in rule:
        wrong = [word for word in got if word not in part.words] if part.kind == "texts" else got
        typed = wrong if isinstance(wrong, list) else [wrong]
        near = [name for word in typed for name in nearest(word, part.words, 1)]
        meant = f"; did you mean {' and '.join(near)}?" if near else ""
        return f"{words}: got {wrong!r}, expected one of: {', '.join(part.words)}{meant}"
    most = at.year + 1 if name == "year" else part.most
    if part.least is not None and most is not None:
        unit = f" {part.unit}" if part.unit else ""
        return f"{words}: got {got}, expected {_plain(part.least)} to {_plain(most)}{unit}"
    return f"{words}: got {got!r}" + (f", expected {part.asks}" if "unknown" in rule else "")


def _plain(number: float) -> str:
    return f"{number:,.0f}" if number > 9999 else f"{number:.0f}"
