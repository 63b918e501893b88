"""A car to be valued, held to the names of the market and to the rules of the record contract."""

import difflib
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.errors import DecisionError
from pricing.records.contract import Contract, broken_rules, check
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, DRIVE_SIDES, MATCHING_NUMBERS, OPTION_CODES

CAR_COLUMNS: Final = (
    "make",
    "model",
    "variant",
    "year",
    "chassis_number",
    "body_style",
    "drive_side",
    "condition_band",
    "condition_score",
    "odometer_km",
    "options",
    "matching_numbers",
    "history_file",
    "channel",
    "country",
)
"""What may be said of a car, of which make, model and year must be; units as in the record contract."""

_LISTS: Final = {
    "condition_band": CONDITION_BANDS,
    "drive_side": DRIVE_SIDES,
    "matching_numbers": MATCHING_NUMBERS,
    "channel": CHANNELS,
    "options": OPTION_CODES,
}

_CONTRACT: Final = pl.Schema(Contract)
_TYPES: Final = {name: kind for name, kind in _CONTRACT.items() if name in CAR_COLUMNS}

_OFFER_WORDS: Final = {
    "record_id": "-",
    "source": "-",
    "source_ref": "-",
    "batch_id": "-",
    "outcome": "asking",
    "price_basis": "asking",
    "currency": "EUR",
    "channel": "private",
    "country": "GB",
}
"""What the contract wants of an offer and a car need not say; it bears on no rule about the car."""

_TRIAL_PRICE: Final = Decimal(1000)
"""Stands for the price of a car that none is asked for."""

_SAID_OF_OFFERS: Final = frozenset(CAR_COLUMNS) | {"amount"}
_NOT_SAID: Final = {name: pl.lit(None, kind) for name, kind in _CONTRACT.items()}
_OFFER: Final = {name: pl.lit(word) for name, word in _OFFER_WORDS.items()}


def frame_of(cars: Sequence[Mapping[str, Any]], at: date) -> pl.DataFrame:
    """Cars as a price model takes them: the contract's types, and the date that the price is to hold at.

    >>> frame_of([{"make": "Corvane", "model": "Six", "year": 1968}], date(2024, 6, 1)).columns[-1]
    'event_date'
    """
    return pl.DataFrame(cars, schema=_TYPES).with_columns(event_date=pl.lit(at))


def named_car(sales: pl.DataFrame, car: Mapping[str, Any]) -> dict[str, Any]:
    """The car with make, model and variant spelt as the market spells them.

    Raises:
        DecisionError: something is said that cars have no column for, make, model or year is missing, or the
            market has no such make, model or variant.

    >>> sales = pl.DataFrame({"make": ["Corvane"], "model": ["Six"], "variant": [None]})
    >>> named_car(sales, {"make": "corvane", "model": "SIX", "year": 1968})["model"]
    'Six'
    """
    unknown = sorted(set(car) - set(CAR_COLUMNS))
    if unknown:
        raise DecisionError(f"a car has no {', '.join(unknown)}; it has: {', '.join(CAR_COLUMNS)}")
    absent = [name for name in ("make", "model", "year") if car.get(name) in (None, "")]
    if absent:
        raise DecisionError(f"a car needs make, model and year to be valued; missing: {', '.join(absent)}")
    named = {name: car.get(name) for name in CAR_COLUMNS}
    within, names = "", sales.select("make", "model", "variant")
    for column in names.columns:
        typed = named[column]
        if typed is None or typed == "":
            named[column] = None
            continue
        known = names[column].drop_nulls().value_counts(sort=True)[column].to_list()
        wanted = str(typed).strip()
        same = [name for name in known if name == wanted] or [
            name for name in known if name.casefold() == wanted.casefold()
        ]
        if not same:
            near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.5) or known[:5]
            raise DecisionError(
                f"no record of the {column} {typed!r}{within}; "
                + (f"the nearest names are: {', '.join(near)}" if near else "none is recorded there")
            )
        named[column] = same[0]
        within = f" of {named['make']}" if column == "make" else f" of {named['make']} {named['model']}"
        names = names.filter(pl.col(column) == same[0])
    return named


def broken_car_rules(cars: pl.DataFrame, at: date) -> pl.Series:
    """For every car the names of the rules of the record contract that the offer of it would break, or null.

    Args:
        cars: any of ``CAR_COLUMNS`` in the contract's types, and ``asking``, a price or null.
        at: the date that the price is to hold at.

    >>> cars = frame_of([{"make": "Corvane", "model": "Six", "year": 1968, "options": []}, {"year": 1700}],
    ...                 date(2024, 6, 1)).with_columns(asking=pl.lit(None, pl.Decimal(18, 3)))
    >>> broken_car_rules(cars, date(2024, 6, 1)).to_list()
    [None, ['year_out_of_range', 'make_missing', 'model_missing', 'options_missing']]
    """
    said = {name: pl.col(name) for name in CAR_COLUMNS if name in cars.columns}
    told = {name: cell if name not in said else said[name].fill_null(cell) for name, cell in _OFFER.items()}
    told["event_date"] = pl.lit(at)
    told["amount"] = pl.col("asking").cast(_CONTRACT["amount"]).fill_null(_TRIAL_PRICE)
    return broken_rules(cars.select(**(_NOT_SAID | said | told)), at, _SAID_OF_OFFERS)


def checked_car(car: Mapping[str, Any], asking: Decimal | None, at: date) -> dict[str, Any]:
    """The car in the contract's types, held to the contract's rules as the offer of it would be.

    Raises:
        DecisionError: the car, or the price asked for it, breaks a rule.
    """
    offer = _OFFER_WORDS | {"event_date": at, "amount": _TRIAL_PRICE if asking is None else asking}
    said = {name: value for name, value in car.items() if value not in (None, [])}
    result = check(pl.DataFrame([offer | said]), at)
    if result.rejected.height:
        broken = result.rejected["broken_rules"][0].to_list()
        raise DecisionError("; ".join(_broken(rule, car, asking) for rule in broken))
    typed = result.accepted.row(0, named=True)
    return {name: typed[name] if name in said or name == "options" else None for name in CAR_COLUMNS}


def _broken(rule: str, car: Mapping[str, Any], asking: Decimal | None) -> str:
    """A broken rule as a sentence: which, what was got, and what was expected where that is a list."""
    column = next(
        (name for name in CAR_COLUMNS if rule.startswith(name.removesuffix("s").removesuffix("_km"))), None
    )
    if column is None:
        return f"{rule.replace('_', ' ').replace('amount', 'asking price')}: got {asking}"
    expected = (
        f", expected one of: {', '.join(_LISTS[column])}" if column in _LISTS and "unknown" in rule else ""
    )
    return f"{rule.replace('_', ' ')}: got {car[column]!r}{expected}"
