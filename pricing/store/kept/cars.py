"""Cars that a person keeps: what is said of each, what was asked for it over time, photographs, and what it
was worth when somebody last looked. A kept car is a person's own, and goes for good when it is deleted."""

import json
import secrets
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.clean_text import clean_lines, clean_name
from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import Opened, add_row, add_rows, run, value
from pricing.store.kept.answers import keep_result

CHANGEABLE: Final = ("name", "notes", "car", "sheet", "subject", "appraisal_id")
"""What may be changed of a kept car."""

LONGEST_NAME: Final = 120
LONGEST_NOTES: Final = 4_000
MOST_PHOTOS: Final = 20
"""Of one car."""

_NO_CAR: Final = "no car is kept under {!r}; `pricing cars list` lists those that are"
_NO_PHOTO: Final = "the car has no photograph {}: take a number that it is shown with"


@dataclass(frozen=True)
class KeptCar:
    """A kept car: its ``car`` as ``Car.to_dict`` has it, the ``sheet`` of its inspection, the ``subject``
    that choices of comparable sales are kept under, its appraisal; ``seen`` holds what it was worth when
    somebody last looked, and ``sold_as`` the record that its sale became."""

    car_id: str
    name: str
    notes: str
    car: Mapping[str, Any]
    sheet: str | None
    subject: str | None
    appraisal_id: str | None
    kept_at: datetime
    seen: Mapping[str, Any] | None
    sold_as: str | None


class StoredCars(Connected):
    """The cars that people keep: ``Market.kept_cars``."""

    def keep(self, name: str, car: Mapping[str, Any], notes: str = "", **links: str | None) -> str:
        """Keep a car; gives its id. ``links``: ``sheet``, ``subject``, ``appraisal_id``. Raises
        ``MarketError`` where it has no name, or another kept car has it."""
        car_id = secrets.token_hex(4)
        with self._connect(write=True) as opened:
            _refuse_name(opened, name, car_id)
            cells = _cells({"name": name, "notes": notes, "car": car} | links)
            add_row(opened, "kept_cars", car_id=car_id, kept_at=now(), **cells)
            write_audit(opened, now(), "keep car", car_id, {})
            keep_result(opened, self.idempotency, {"car_id": car_id})
        return car_id

    def change(self, car_id: str, **values: Any) -> None:
        """Give parts of a kept car (``CHANGEABLE``) other values. Raises ``MarketError`` if there is none."""
        with self._writing(car_id, "change car", {"parts": sorted(values)}) as opened:
            if "name" in values:
                _refuse_name(opened, values["name"], car_id)
            for column, cell in _cells(values).items():
                run(opened, f"UPDATE kept_cars SET {column} = ? WHERE car_id = ?", [cell, car_id])  # noqa: S608

    def note_price(self, car_id: str, amount: Decimal, currency: str, noted_on: date) -> None:
        """Note what is asked for a car on a day; the last of a day counts."""
        with self._writing(car_id, "note price", {"on": noted_on}) as opened:
            cells = {"car_id": car_id, "noted_on": noted_on, "amount": amount, "currency": currency}
            add_rows(opened, "kept_car_prices", [cells], clash="replace")

    def look(self, car_id: str, seen: Mapping[str, Any]) -> None:
        """Remember what a car is worth now, to tell later what changed."""
        self._write(run, "UPDATE kept_cars SET seen = ? WHERE car_id = ?", [json.dumps(seen), car_id])

    def sold(self, car_id: str, record_id: str) -> None:
        """Say which record the sale of a car became."""
        with self._writing(car_id, "sold car", {"record": record_id}, {"record_id": record_id}) as opened:
            run(opened, "UPDATE kept_cars SET sold_as = ? WHERE car_id = ?", [record_id, car_id])

    def add_photo(self, car_id: str, content: bytes) -> int:
        """Keep a photograph, as a JPEG without what the camera wrote beside it; gives its number."""
        made: dict[str, Any] = {}
        with self._writing(car_id, "keep photograph", made, made) as opened:
            numbers = "SELECT coalesce(max(number), 0), count(*) FROM kept_car_photos WHERE car_id = ?"
            ((last, count),) = run(opened, numbers, [car_id])
            if count >= MOST_PHOTOS:
                raise MarketError(f"a kept car holds {MOST_PHOTOS} photographs at most: delete one first")
            made["number"] = int(last) + 1
            add_row(opened, "kept_car_photos", car_id=car_id, content=content, kept_at=now(), **made)
        return int(made["number"])

    def delete_photo(self, car_id: str, number: int) -> None:
        """Delete a photograph of a car, for good. Raises ``MarketError`` when there is none."""
        with self._connect(write=True) as opened:
            deleted = "DELETE FROM kept_car_photos WHERE car_id = ? AND number = ?"
            if not value(opened, deleted, [car_id, number]):
                raise MarketError(_NO_PHOTO.format(number))
            write_audit(opened, now(), "delete photograph", car_id, {"number": number})

    def photo_numbers(self, car_id: str) -> list[int]:
        """The numbers of the photographs of a car, oldest first."""
        query = "SELECT number FROM kept_car_photos WHERE car_id = ? ORDER BY number"
        return [int(number) for (number,) in self._rows(query, [car_id])]

    def photo(self, car_id: str, number: int) -> bytes:
        """A photograph of a car, as a JPEG. Raises ``MarketError`` when there is none."""
        query = "SELECT content FROM kept_car_photos WHERE car_id = ? AND number = ?"
        content = self._ask(value, query, [car_id, number])
        if content is None:
            raise MarketError(_NO_PHOTO.format(number))
        return bytes(content)

    def all(self) -> list[KeptCar]:
        """Every kept car, by name."""
        columns = ", ".join(part.name for part in fields(KeptCar))
        rows = self._frame(f"SELECT {columns} FROM kept_cars ORDER BY lower(name), car_id")  # noqa: S608
        return [
            KeptCar(**row | {"car": json.loads(row["car"]), "seen": json.loads(row["seen"] or "null")})
            for row in rows.iter_rows(named=True)
        ]

    def one(self, named: str) -> KeptCar:
        """The kept car of an id, or of a name in any case. Raises ``MarketError`` when there is none."""
        wanted = named.strip().casefold()
        for car in self.all():
            if wanted in (car.car_id, car.name.casefold()):
                return car
        raise MarketError(_NO_CAR.format(named))

    def prices(self, car_id: str | None = None) -> pl.DataFrame:
        """What was asked for a car, or for all, oldest first: car_id, noted_on, amount, currency."""
        return self._frame(
            "SELECT car_id, noted_on, amount, currency FROM kept_car_prices "
            "WHERE car_id = coalesce(?, car_id) ORDER BY car_id, noted_on",
            [car_id],
        )

    def delete(self, car_id: str) -> None:
        """Delete a car with its prices and photographs for good. Raises ``MarketError`` if there is none."""
        with self._writing(car_id, "delete car", {}) as opened:
            for table in ("kept_cars", "kept_car_prices", "kept_car_photos"):
                run(opened, f"DELETE FROM {table} WHERE car_id = ?", [car_id])  # noqa: S608

    @contextmanager
    def _writing(
        self, car_id: str, action: str, detail: dict[str, Any], made: Mapping[str, Any] | None = None
    ) -> Iterator[Opened]:
        """A write to a kept car, which stands in the audit, and in what came of the idempotency key. Raises
        ``MarketError`` where there is no such car."""
        with self._connect(write=True) as opened:
            if not run(opened, "SELECT 1 FROM kept_cars WHERE car_id = ?", [car_id]):
                raise MarketError(_NO_CAR.format(car_id))
            yield opened
            write_audit(opened, now(), action, car_id, detail)
            keep_result(opened, self.idempotency, {"car_id": car_id, **(made or {})})


def _refuse_name(opened: Opened, name: str, car_id: str) -> None:
    """Refuse a name for a car that is none, or that another has."""
    name = _name(name)
    if not name:
        raise MarketError("a kept car needs a name, such as the green one")
    taken = "SELECT 1 FROM kept_cars WHERE lower(name) = lower(?) AND car_id <> ?"
    if value(opened, taken, [name, car_id]):
        raise MarketError(f"a car is kept under the name {name!r} already: give this one another")


def _name(name: object) -> str:
    return clean_name(str(name), "a kept car", MarketError)[:LONGEST_NAME]


def _cells(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values as columns hold them. Raises ``MarketError`` for what a kept car has not."""
    unknown = values.keys() - set(CHANGEABLE)
    if unknown:
        raise MarketError(f"a kept car has no {', '.join(sorted(unknown))}; expected {', '.join(CHANGEABLE)}")
    texts: dict[str, Callable[[Any], str]] = {
        "car": lambda car: json.dumps(car, sort_keys=True),
        "name": _name,
        "notes": lambda notes: clean_lines(str(notes or ""))[:LONGEST_NOTES],
    }
    return {name: texts[name](cell) if name in texts else cell for name, cell in values.items()}
