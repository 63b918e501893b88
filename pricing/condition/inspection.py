"""One inspection: the car, its sheet, what was found so far, and what is no longer as the factory made it.

An ``Inspection`` never changes: recording a finding gives a new one. It can be half done at any time; what
has not been recorded is not seen. ``inspection_files`` saves and opens it.

Of changes three things that are easily mixed up are kept apart. How *well* a change was made touches the
condition score. *That* it was made is a term of the price model where it is one of its options. How much of
the car is still the one that left the factory is *preservation*, an axis of its own that never touches the
score.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final

import polars as pl
from pydantic import ConfigDict, Strict, with_config

from pricing.car import described
from pricing.car_fields import CONDITION
from pricing.condition.checks import NOT_SEEN, STATES, Check, Sheet
from pricing.errors import InspectionError
from pricing.validation import Day
from pricing.vocabulary import OPTION_CODES

PRESERVATION: Final = ("authentic", "original", "restored", "rebuilt")
"""How far the car is preserved, after the FIVA technical code (class names from memory)."""

WORKMANSHIP: Final = ("well", "badly", NOT_SEEN)
"""How a change was made; not seen is unknown, never well."""


@with_config(ConfigDict(extra="forbid"))
@dataclass(frozen=True)
class Change:
    """One change from how the car left the factory.

    ``item`` in words; ``option`` the option code it stands for, or "" when it is none; ``period``: made of
    parts and in a manner of the car's own time; ``reversible``: can be unbolted without trace; ``done``: one
    of ``WORKMANSHIP``; ``done_by`` whom, as far as known.

    >>> Change("front discs", option="front_disc_brakes", period=True, reversible=True, done="well").done
    'well'
    >>> Change("radio", done="nicely")
    Traceback (most recent call last):
    pricing.errors.InspectionError: change 'radio': done is 'nicely', expected one of well, badly, not seen
    """

    item: str
    option: str = ""
    period: Annotated[bool, Strict()] = False
    reversible: Annotated[bool, Strict()] = False
    done: str = NOT_SEEN
    done_by: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.item, str) or not self.item.strip():
            raise InspectionError("a change without an item: say what was changed")
        if not isinstance(self.done_by, str):
            raise InspectionError(f"change {self.item!r}: done_by is {self.done_by!r}, expected a text")
        for key in ("period", "reversible"):
            if not isinstance(getattr(self, key), bool):
                raise InspectionError(
                    f"change {self.item!r}: {key} is {getattr(self, key)!r}, expected true or false"
                )
        if self.option and self.option not in OPTION_CODES:
            raise InspectionError(f"change {self.item!r}: unknown option code {self.option!r}")
        if self.done not in WORKMANSHIP:
            raise InspectionError(
                f"change {self.item!r}: done is {self.done!r}, expected one of {', '.join(WORKMANSHIP)}"
            )


def originality_note(changes: tuple[Change, ...]) -> str:
    """One sentence on originality, for the result and the print.

    >>> originality_note((Change("wide arches", done="well"), Change("radio", reversible=True, done="well")))
    '2 changes from the factory state: 0 of the period, 1 that can be undone, 0 done badly.'
    """
    if not changes:
        return "No change from the factory state is recorded."
    return (
        f"{len(changes)} change{'s' if len(changes) > 1 else ''} from the factory state: "
        f"{sum(change.period for change in changes)} of the period, "
        f"{sum(change.reversible for change in changes)} that can be undone, "
        f"{sum(change.done == 'badly' for change in changes)} done badly."
    )


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
        of_car = described(car)
        for name in CONDITION:
            if of_car.get(name) is not None:
                raise InspectionError(f"an inspection finds the condition; got {name} {of_car[name]!r}")
        make, model = of_car.get("make"), of_car.get("model")
        sheet = Sheet.open(construction, fitted=fitted, make=make, model=model, extensions=extensions)
        return cls(sheet=sheet, car=of_car, findings={})

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
            (check.id, check.area, check.title, check.weight, check.role, finding.state, finding.note,
             finding.photo, finding.seen_by, finding.seen_on)
            for check in self.sheet.checks
            for finding in [self.findings.get(check.id, Finding(check.id, NOT_SEEN))]
        ]  # fmt: skip
        columns = "check", "area", "title", "weight", "role", "state", "note", "photo", "seen_by", "seen_on"
        schema = dict.fromkeys(columns, pl.String()) | {"weight": pl.Float64(), "seen_on": pl.Date()}
        return pl.DataFrame(rows, schema=schema, orient="row")
