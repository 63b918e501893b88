"""What is charged beside the price of a car: buyer's premium, seller's commission, fees, import duty and tax;
their exact inverses, and dated schedules of them.

A charge is tiered: each rate applies to the part of the hammer price inside its tier. Tax is reckoned on the
charge. Charge and tax are each rounded half up to the currency's smallest unit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from operator import attrgetter
from pathlib import Path
from typing import Annotated, Any, Final

import polars as pl
from pydantic import BaseModel, ConfigDict, Field, Strict, TypeAdapter, ValidationError

from pricing.errors import MoneyError
from pricing.money.currencies import MICRO, divide_half_up, minor_unit_places
from pricing.untrusted.documents import read_toml
from pricing.validation import sentence_of
from pricing.vocabulary import words


class ChargeKind(StrEnum):
    """Charged on the hammer price, or on the price paid; an entry fee is due whether the car sells or not, an
    unsold fee only when it does not. A fixed fee is a rate of nought with a minimum."""

    PREMIUM = "premium"
    COMMISSION = "commission"
    ENTRY_FEE = "entry fee"
    UNSOLD_FEE = "unsold fee"
    IMPORT_DUTY = "import duty"
    IMPORT_TAX = "import tax"


KINDS: Final = words(ChargeKind)

_REACH: Final = 4
"""Smallest units around the unrounded inverse that hold the exact one: two roundings of half a unit each,
one of them taxed, move it by less than three."""


@dataclass(frozen=True)
class Tier:
    """A rate for the part of the hammer price above the tier before, up to ``up_to`` (None: without end)."""

    __pydantic_config__ = ConfigDict(extra="forbid")

    rate: Decimal
    up_to: Decimal | None = None


@dataclass(frozen=True)
class Charge:
    """One source's dated schedule: in force from ``valid_from`` until a later one of the same kind, or to the
    end of the day ``valid_until`` where one is said.

    ``tiers`` in rising order, the last without end; ``tax`` is a rate on the charge; ``minimum`` an amount
    before tax. All expressions below are in thousandths of ``currency``.

    >>> charge = Charge("hall", "premium", date(2020, 1, 1), "GBP",
    ...                 (Tier(Decimal("0.15"), Decimal(50_000)), Tier(Decimal("0.12"))), Decimal("0.20"))
    >>> pl.select(charge.all_in(pl.lit(60_000_000, dtype=pl.Int128))).item()  # 60,000 + (7,500 + 1,200) x 1.2
    70440000
    >>> pl.select(charge.hammer_of_all_in(pl.lit(70_440_000, dtype=pl.Int128))).item()
    60000000
    """

    __pydantic_config__ = ConfigDict(extra="forbid")

    source: str
    kind: str
    valid_from: Annotated[date, Field(alias="from")]
    currency: str
    tiers: tuple[Tier, ...]
    tax: Decimal = Decimal(0)
    minimum: Decimal = Decimal(0)
    valid_until: Annotated[date | None, Field(alias="until")] = None

    def __post_init__(self) -> None:
        """Refuse a schedule that does not make sense."""
        where = f"{self.kind} of {self.source!r} from {self.valid_from}"
        if self.kind not in KINDS:
            raise MoneyError(f"{where}: the kind of a charge is one of {', '.join(KINDS)}")
        minor_unit_places(self.currency)
        if self.valid_until is not None and self.valid_until < self.valid_from:
            raise MoneyError(f"{where}: it ends on {self.valid_until}, before it begins")
        ends = [tier.up_to for tier in self.tiers]
        rising = [end for end in ends[:-1] if end is not None]
        if not ends or ends[-1] is not None or len(rising) != len(ends) - 1 or rising != sorted(set(rising)):
            raise MoneyError(f"{where}: tiers must rise, and only the last one is without up_to; got {ends}")
        if any(end <= 0 for end in rising) or self.minimum < 0:
            raise MoneyError(f"{where}: up_to and minimum must not be negative")
        for rate in (self.tax, *(tier.rate for tier in self.tiers)):
            if not 0 <= rate < 1:
                raise MoneyError(f"{where}: a rate is a part of one, such as 0.15 for 15%; got {rate}")
            _millionths(rate)

    def on(self, hammer: pl.Expr) -> pl.Expr:
        """The charge with its tax."""
        unit = self._unit
        low, parts = 0, []
        for tier in self.tiers:
            part = (hammer - low).clip(0, None if tier.up_to is None else _thousandths(tier.up_to) - low)
            parts.append(part * pl.lit(_millionths(tier.rate), dtype=pl.Int128))
            low = low if tier.up_to is None else _thousandths(tier.up_to)
        charge = divide_half_up(sum(parts, pl.lit(0, dtype=pl.Int128)), MICRO * unit) * unit
        charge = pl.max_horizontal(charge, pl.lit(_thousandths(self.minimum), dtype=pl.Int128))
        tax = charge * pl.lit(_millionths(self.tax), dtype=pl.Int128)
        return charge + divide_half_up(tax, MICRO * unit) * unit

    def all_in(self, hammer: pl.Expr) -> pl.Expr:
        """What the buyer pays; inverse: ``hammer_of_all_in``."""
        return hammer + self.on(hammer)

    def net(self, hammer: pl.Expr) -> pl.Expr:
        """What the seller keeps; inverse: ``hammer_of_net``."""
        return hammer - self.on(hammer)

    def hammer_of_all_in(self, amount: pl.Expr) -> pl.Expr:
        """The highest hammer price whose all-in price is at most ``amount``; exact where there is one."""
        return self._inverse(amount, +1)

    def hammer_of_net(self, amount: pl.Expr) -> pl.Expr:
        """The lowest hammer price whose net is at least ``amount``; exact where there is one."""
        return self._inverse(amount, -1)

    @property
    def _unit(self) -> int:
        return 10 ** (3 - minor_unit_places(self.currency))

    def _inverse(self, amount: pl.Expr, sign: int) -> pl.Expr:
        """Undo the charge on a straight line without rounding, then try the whole units about that."""
        unit, tax = self._unit, _millionths(self.tax) + MICRO
        minimum = _thousandths(self.minimum) * tax // MICRO
        guess, low, charged = pl.lit(0, dtype=pl.Int128), 0, 0
        for tier in self.tiers:
            slope = MICRO * MICRO + sign * _millionths(tier.rate) * tax
            if slope <= 0:
                raise MoneyError(f"commission of {self.source!r} with its tax takes all of the price or more")
            above = amount - pl.lit(low + sign * charged // (MICRO * MICRO), dtype=pl.Int128)
            here = above * pl.lit(MICRO * MICRO, dtype=pl.Int128) // pl.lit(slope, dtype=pl.Int128) + low
            guess = here if low == 0 else pl.when(guess > low).then(here).otherwise(guess)
            if tier.up_to is not None:
                charged += (_thousandths(tier.up_to) - low) * _millionths(tier.rate) * tax
                low = _thousandths(tier.up_to)
        flat = amount - sign * minimum
        if minimum > 0:
            guess = pl.min_horizontal(guess, flat) if sign > 0 else pl.max_horizontal(guess, flat)
        start = guess // unit * unit
        tried = [(start + step * unit).clip(0) for step in range(-_REACH, _REACH + 1)]
        if sign > 0:
            return pl.max_horizontal(*(pl.when(self.all_in(trial) <= amount).then(trial) for trial in tried))
        return pl.min_horizontal(*(pl.when(self.net(trial) >= amount).then(trial) for trial in tried))


_CHARGE: Final = TypeAdapter(Charge)


class _ScheduleFile(BaseModel):
    """A schedule file, its charges as tables."""

    model_config = ConfigDict(extra="forbid")

    charge: list[dict[str, Any]]
    name: str = ""
    notice: str = ""
    example: Annotated[bool, Strict()] = False


def read_charge(table: Mapping[str, Any]) -> Charge:
    """A charge from a table: source, kind, from, currency, tiers and, where wanted, until, tax, minimum.

    Raises:
        MoneyError: a part of it is missing, is not known or makes no sense.

    >>> tiers = [{"rate": 0.15}]
    >>> read_charge({"source": "hall", "kind": "premium", "from": date(2020, 1, 1), "currency": "GBP",
    ...              "tiers": tiers}).tiers
    (Tier(rate=Decimal('0.15'), up_to=None),)
    """
    try:
        return _CHARGE.validate_python(table)
    except ValidationError as error:
        raise MoneyError(f"{table.get('kind')} of {table.get('source')!r}: {sentence_of(error)}") from None


@dataclass(frozen=True)
class Schedule:
    """A file of dated charges. ``source`` of a charge is whoever charges: a channel, a sale room, a country.

    ``example`` marks rates that are shown for their form alone, with ``notice`` beside them.
    """

    name: str
    notice: str
    example: bool
    charges: tuple[Charge, ...]

    def in_force(self, source: str, kind: str, on: date, currency: str) -> Charge | None:
        """The charge of a kind in force on a day, both ends in; None where the file says nothing of that kind
        and source.

        Raises:
            MoneyError: the file has such charges, but none on that day (a gap), or in another currency.

        >>> charge = Charge("hall", "premium", date(2026, 1, 1), "EUR", (Tier(Decimal("0.1")),))
        >>> Schedule("rates", "", False, (charge,)).in_force("hall", "premium", date(2025, 12, 31), "EUR")
        Traceback (most recent call last):
            ...
        pricing.errors.MoneyError: rates: no premium of 'hall' is in force on 2025-12-31; they run from \
2026-01-01
        """
        of_kind = [charge for charge in self.charges if (charge.source, charge.kind) == (source, kind)]
        same = sorted(
            (charge for charge in of_kind if charge.currency == currency), key=attrgetter("valid_from")
        )
        if not of_kind:
            return None
        if not same:
            others = ", ".join(sorted({charge.currency for charge in of_kind}))
            raise MoneyError(
                f"{self.name}: the {kind} of {source!r} is in {others}, the price in {currency}; "
                f"give a schedule in {currency}"
            )
        begun = [charge for charge in same if charge.valid_from <= on]
        if not begun or (begun[-1].valid_until is not None and begun[-1].valid_until < on):
            runs = "; ".join(
                f"from {charge.valid_from}" + (f" to {charge.valid_until}" if charge.valid_until else "")
                for charge in same
            )
            raise MoneyError(f"{self.name}: no {kind} of {source!r} is in force on {on}; they run {runs}")
        return begun[-1]


def read_schedule(path: Path) -> Schedule:
    """A schedule file (TOML): ``name``, ``notice``, ``example`` and tables ``[[charge]]`` of source, kind,
    from, currency, tiers and, where wanted, until, tax, minimum. Raises ``FileError`` where it cannot be read
    as TOML, ``MoneyError`` where a charge makes no sense."""
    facts = read_toml(path)
    try:
        read = _ScheduleFile.model_validate(facts)
    except ValidationError as error:
        raise MoneyError(f"{path}: {sentence_of(error, facts)}") from None
    charges = tuple(read_charge(table) for table in read.charge)
    return Schedule(read.name or path.name, read.notice, read.example, charges)


def _thousandths(amount: Decimal) -> int:
    return int((amount * 1000).to_integral_value())


def _millionths(rate: Decimal) -> int:
    scaled = rate * MICRO
    if scaled != scaled.to_integral_value():
        raise MoneyError(f"a rate has at most six decimals; got {rate}")
    return int(scaled)
