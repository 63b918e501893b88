"""One inspection: the car, its sheet, and what was found so far.

An ``Inspection`` never changes: recording a finding gives a new one. It can be half done at any time; what
has not been recorded is not seen. ``inspection_files`` saves and opens it.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final

import polars as pl
from pydantic import ConfigDict, with_config

from pricing.car import CAR_TYPES, described
from pricing.car_fields import CONDITION
from pricing.condition.changes import PRESERVATION, Change, options_for_model
from pricing.condition.checks import NOT_SEEN, STATES, Check, Sheet
from pricing.errors import InspectionError
from pricing.validation import Day

LONGEST_TEXT: Final = 4000
"""Characters in a note or a name; longer ones are refused."""


@with_config(ConfigDict(extra="forbid"))
@dataclass(frozen=True)
class Finding:
    """What was found at one check: a ``state`` (one of ``STATES`` or ``NOT_SEEN``), a note, the name of a
    photo, who looked and when.

    >>> Finding("engine_smoke", "worn", note="a little blue", seen_by="A. Person").state
    'worn'
    >>> Finding("engine_smoke", "smoky")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    pricing.errors.InspectionError: check 'engine_smoke': unknown state 'smoky', expected sound, worn, ...
    """

    check: str
    state: str
    note: str = ""
    photo: str = ""
    seen_by: str = ""
    seen_on: Day | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.check, str):
            raise InspectionError(f"a finding is for the check {str(self.check)[:60]!r}, expected a name")
        if self.state not in (*STATES, NOT_SEEN):
            raise InspectionError(
                f"check {str(self.check)[:80]!r}: unknown state {str(self.state)[:40]!r}, "
                f"expected {', '.join(STATES)} or {NOT_SEEN}"
            )
        for key in ("note", "photo", "seen_by"):
            text = getattr(self, key)
            if not isinstance(text, str) or len(text) > LONGEST_TEXT:
                raise InspectionError(
                    f"check {self.check!r}: {key} must be a text of at most {LONGEST_TEXT} characters"
                )
        if self.photo and (set(self.photo) & set("/\\:\0\n") or self.photo.startswith(".")):
            raise InspectionError(
                f"check {self.check!r}: photo {self.photo!r} must be the plain name of a file"
            )
        if self.seen_on is not None and not isinstance(self.seen_on, date):
            raise InspectionError(f"check {self.check!r}: seen_on is {self.seen_on!r}, expected a date")


@dataclass(frozen=True)
class Inspection:
    """A car, its sheet, and the findings so far.

    >>> walk = Inspection.start("separate chassis", {"make": "Aldermoor", "model": "Wren", "year": 1964})
    >>> walk = walk.record("chassis_outriggers", "needs repair", note="left, below the door post")
    >>> walk.state("chassis_outriggers"), walk.state("engine_smoke"), round(walk.seen_share, 3)
    ('needs repair', 'not seen', 0.021)
    """

    sheet: Sheet
    car: dict[str, Any]
    findings: dict[str, Finding]
    changes: tuple[Change, ...] = ()
    preservation: str | None = None

    def __post_init__(self) -> None:
        for check_id in self.findings:
            self.sheet.check(check_id)
        if self.preservation is not None and self.preservation not in PRESERVATION:
            raise InspectionError(
                f"unknown preservation {self.preservation!r}: expected one of {', '.join(PRESERVATION)}"
            )

    @classmethod
    def start(
        cls,
        construction: str,
        car: Mapping[str, Any],
        *,
        fitted: Iterable[str] = (),
        extensions: Path | None = None,
    ) -> "Inspection":
        """A new inspection with nothing seen yet.

        ``car`` holds any of ``car_fields.FIELDS`` but the condition; ``extensions`` is a folder of sheets
        for single models. Raises ``InspectionError`` for an unknown construction or fitting, ``CarError``
        for what cannot be said of a car.
        """
        kept = described(car)
        for name in CONDITION:
            if kept.get(name) is not None:
                raise InspectionError(f"an inspection finds the condition; got {name} {kept[name]!r}")
        make, model = kept.get("make"), kept.get("model")
        sheet = Sheet.open(construction, fitted=fitted, make=make, model=model, extensions=extensions)
        return cls(sheet=sheet, car=kept, findings={})

    def record(
        self,
        check: str,
        state: str,
        *,
        note: str = "",
        photo: str = "",
        seen_by: str = "",
        seen_on: date | None = None,
    ) -> "Inspection":
        """This inspection with one finding more, in place of an earlier one for the same check."""
        return self.fill([Finding(check, state, note, photo, seen_by, seen_on)])

    def fill(self, findings: Iterable[Finding]) -> "Inspection":
        """This inspection with these findings, in place of earlier ones for the same checks."""
        return replace(self, findings={**self.findings, **{finding.check: finding for finding in findings}})

    def state(self, check: str) -> str:
        """The state found at a check; not seen where nothing is recorded."""
        return self.findings[check].state if check in self.findings else NOT_SEEN

    @property
    def seen(self) -> tuple[Check, ...]:
        """The checks that were seen, in the order of the walk."""
        return tuple(check for check in self.sheet.checks if self.state(check.id) != NOT_SEEN)

    @property
    def seen_share(self) -> float:
        """Part of the scored weight that was seen, 0 to 1."""
        weight = math.fsum(check.weight for check in self.sheet.scored)
        return math.fsum(check.weight for check in self.seen if check.scored) / weight

    def frame(self) -> pl.DataFrame:
        """One row a check, in the order of the walk: check, area, title, weight, role, state, note, photo,
        seen_by, seen_on."""
        rows = [
            (
                check.id,
                check.area,
                check.title,
                check.weight,
                check.role,
                self.state(check.id),
                *((found.note, found.photo, found.seen_by, found.seen_on) if found else ("", "", "", None)),
            )
            for check in self.sheet.checks
            for found in [self.findings.get(check.id)]
        ]
        schema = {
            "check": pl.String,
            "area": pl.String,
            "title": pl.String,
            "weight": pl.Float64,
            "role": pl.String,
            "state": pl.String,
            "note": pl.String,
            "photo": pl.String,
            "seen_by": pl.String,
            "seen_on": pl.Date,
        }
        return pl.DataFrame(rows, schema=schema, orient="row")

    def car_frame(self) -> pl.DataFrame:
        """The car as one row for the price model, null where unknown, without any condition.

        ``options`` are those the price model should see (``options_for_model``).
        """
        values = {**self.car, "options": options_for_model(self.car.get("options", []), self.changes)}
        types = {name: kind for name, kind in CAR_TYPES.items() if name not in CONDITION}
        return pl.DataFrame({name: [values.get(name)] for name in types}, schema=types)
