"""The checks of an inspection: what to look at, what a bad sign means, and the sheet they make up.

Checks are data (TOML). Three files come with the tool: what every car has in common, what a car with a
separate chassis has of its own, and what a car whose body carries itself has. Files for single models extend
them.
"""

import dataclasses
from collections.abc import Iterable
from dataclasses import field
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Annotated, Final, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator
from pydantic.dataclasses import dataclass

from pricing.errors import FileError, InspectionError
from pricing.plugins import SHEETS, plugged_folders
from pricing.untrusted.documents import read_toml
from pricing.validation import sentence_of
from pricing.vocabulary import words


class Construction(StrEnum):
    """What carries the car: a frame below the body, or the body itself."""

    SEPARATE_CHASSIS = "separate chassis"
    MONOCOQUE = "monocoque"


class Area(StrEnum):
    """The walk round the car, in order."""

    IDENTITY_AND_PAPERS = "identity and papers"
    STRUCTURE = "structure"
    OUTER_BODY_AND_PAINT = "outer body and paint"
    ENGINE = "engine"
    GEARBOX_AND_FINAL_DRIVE = "gearbox and final drive"
    STEERING = "steering"
    FRONT_SUSPENSION = "front suspension"
    REAR_SUSPENSION = "rear suspension"
    BRAKES = "brakes"
    WHEELS_AND_TYRES = "wheels and tyres"
    INTERIOR = "interior"
    ELECTRICS = "electrics"
    HOOD_OR_SUNROOF = "hood or sunroof"
    UPGRADES_AND_ORIGINALITY = "upgrades and originality"
    ROAD_TEST = "road test"


class CheckRole(StrEnum):
    """What a check is about. ``structure`` caps the score; ``papers`` says what the car is and never enters
    the score."""

    PAPERS = "papers"
    STRUCTURE = "structure"
    BODY = "body"
    MECHANICAL = "mechanical"
    CONTROL = "control"
    CABIN = "cabin"
    ELECTRICAL = "electrical"
    WORKMANSHIP = "workmanship"


class BadState(StrEnum):
    """What was found and is not sound, best first."""

    WORN = "worn"
    NEEDS_REPAIR = "needs repair"
    STRUCTURAL_OR_MISSING = "structural or missing"


class FittedPart(StrEnum):
    """Parts that not every car has; their checks are asked only where the part is fitted."""

    HOOD = "hood"
    OVERDRIVE = "overdrive"
    SUNROOF = "sunroof"


CONSTRUCTIONS: Final = words(Construction)
AREAS: Final = words(Area)
ROLES: Final = words(CheckRole)
STATES: Final = ("sound", *words(BadState))
"""What was found, best first."""

NOT_SEEN: Final = "not seen"
"""What was not looked at, or could not be: unknown, never sound."""

PAPER_STATES: Final = dict(zip(STATES, ("in order", "incomplete", "to be put right", "missing"), strict=True))
"""What is said of papers in place of ``STATES``: no right to sell is worn."""


def found_words(role: str, state: str) -> str:
    """What was found at a check of a role, as people say it.

    >>> found_words("papers", "worn"), found_words("body", "worn"), found_words("papers", "not seen")
    ('incomplete', 'worn', 'not seen')
    """
    return PAPER_STATES.get(state, state) if role == CheckRole.PAPERS else state


def bad_state(state: str) -> int:
    """The place of a bad state among ``STATES``.

    Raises:
        InspectionError: it is none.
    """
    if state not in STATES[1:]:
        raise InspectionError(f"unknown state {state!r}: expected one of {', '.join(STATES[1:])}")
    return STATES.index(state)


FITTINGS: Final = words(FittedPart)

SHIPPED: Final = Path(__file__).parent / "sheets"
MAXIMUM_WEIGHT: Final = 5.0

Text = Annotated[str, StringConstraints(strict=True, pattern=r"\S")]


@dataclass(frozen=True, config=ConfigDict(extra="forbid", use_enum_values=True))
class Check:
    """One thing to look at.

    ``where`` to look, what to do (``act``), what a ``bad_sign`` means, how much it matters (``weight``, above
    0 to 5), its ``role``, the ``caution`` that goes with it (a name in ``Sheet.cautions``, or ""), the part
    that must be ``fitted`` for it to be asked (or ""), and the repair ``jobs`` that each of ``STATES`` leads
    to.
    """

    id: Text
    area: Area
    title: Text
    where: Text
    act: Text
    bad_sign: Text
    weight: Annotated[float, Field(strict=True, gt=0, le=MAXIMUM_WEIGHT)]
    role: CheckRole
    caution: str = ""
    fitted: FittedPart | Literal[""] = ""
    jobs: dict[BadState, tuple[Text, ...]] = field(default_factory=dict)

    @model_validator(mode="after")
    def _of_the_structure(self) -> Self:
        if (self.role == CheckRole.STRUCTURE) != (self.area == Area.STRUCTURE):
            raise ValueError("the role structure and the area structure go together")
        return self

    @property
    def scored(self) -> bool:
        """Whether the check enters the condition score; papers say what a car is, not how it is."""
        return self.role != "papers"


class _SheetFile(BaseModel):
    """A file of checks."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    path: Path
    name: Text
    check: tuple[Check, ...] = ()
    cautions: dict[str, str] = Field(default_factory=dict)
    general_cautions: dict[str, str] = Field(default_factory=dict)


class _Extension(_SheetFile):
    """A file of checks for one model of one make."""

    construction: str
    make: str
    model: str

    def is_for(self, construction: str, make: str, model: str) -> bool:
        """Whether it extends the sheet of that construction, make and model (case aside)."""
        names = zip((self.make, self.model), (make, model), strict=True)
        return self.construction == construction and all(a.casefold() == b.casefold() for a, b in names)


@dataclasses.dataclass(frozen=True)
class Sheet:
    """The checks for one car, in the order of the walk, and the cautions that go with them.

    >>> sheet = Sheet.open("monocoque")
    >>> len(sheet.checks) >= 70, sheet.check("shell_outer_sills").title
    (True, 'Sills')
    >>> sheet.check("shell_outer_sill")
    Traceback (most recent call last):
    pricing.errors.InspectionError: unknown check 'shell_outer_sill': not on the sheet monocoque
    """

    construction: str
    fitted: tuple[str, ...]
    names: tuple[str, ...]
    checks: tuple[Check, ...]
    cautions: dict[str, str]
    general_cautions: tuple[str, ...]

    @classmethod
    def open(
        cls,
        construction: str,
        *,
        fitted: Iterable[str] = (),
        make: str | None = None,
        model: str | None = None,
        extensions: Path | None = None,
    ) -> "Sheet":
        """The sheet for a construction, and for a make and model where the folder ``extensions``, or a
        package that adds sheets (``plugins.SHEETS``), has checks for it.

        Raises ``InspectionError`` for an unknown construction or fitting and for a sheet file that makes no
        sense.
        """
        if construction not in CONSTRUCTIONS:
            raise InspectionError(
                f"unknown construction {construction!r}: expected {' or '.join(CONSTRUCTIONS)}"
            )
        parts = frozenset(fitted)
        if unknown := sorted(parts - set(FITTINGS)):
            raise InspectionError(f"unknown fitting {unknown[0]!r}: expected one of {', '.join(FITTINGS)}")
        files = [_shipped("common"), _shipped(construction.replace(" ", "_"))]
        if extensions is not None and make and model and not extensions.is_dir():
            raise InspectionError(f"{extensions}: the folder of sheet extensions does not exist")
        if make and model:
            folders = [*([] if extensions is None else [extensions]), *plugged_folders(SHEETS)]
            paths = [path for folder in folders for path in sorted(folder.glob("*.toml"))]
            extending = [read_model(path, _Extension, "id", path=path) for path in paths]
            files += [each for each in extending if each.is_for(construction, make, model)]
        cautions = {name: text for file in files for name, text in file.cautions.items()}
        checks: dict[str, Check] = {}
        for file in files:
            for check in file.check:
                if check.id in checks:
                    raise InspectionError(f"{file.path}: check {check.id!r} is on the sheet already")
                if check.caution and check.caution not in cautions:
                    raise InspectionError(
                        f"{file.path}: check {check.id!r} names an unknown caution {check.caution!r}"
                    )
                checks[check.id] = check
        return cls(
            construction=construction,
            fitted=tuple(sorted(parts)),
            names=tuple(file.name for file in files),
            checks=tuple(
                sorted(
                    (check for check in checks.values() if not check.fitted or check.fitted in parts),
                    key=lambda check: AREAS.index(check.area),
                )
            ),
            cautions=cautions,
            general_cautions=tuple(text for file in files for text in file.general_cautions.values()),
        )

    def check(self, check_id: str) -> Check:
        """The check of that id. Raises ``InspectionError`` naming an id that is not on this sheet."""
        for check in self.checks:
            if check.id == check_id:
                return check
        extra = "" if len(self.names) <= 2 else f" with {', '.join(self.names[2:])}"
        raise InspectionError(f"unknown check {check_id!r}: not on the sheet {self.construction}{extra}")

    @property
    def scored(self) -> tuple[Check, ...]:
        """The checks that enter the condition score."""
        return tuple(check for check in self.checks if check.scored)


@cache
def _shipped(name: str) -> _SheetFile:
    """A sheet file that comes with the tool, read once."""
    path = SHIPPED / f"{name}.toml"
    return read_model(path, _SheetFile, "id", path=path)


Read = TypeVar("Read", bound=BaseModel)


def read_model(
    file: Path, kind: type[Read], named_by: str, *, decimals: bool = False, **known: object
) -> Read:
    """What a TOML file says, beside what is ``known``. Raises ``InspectionError`` naming what it refuses, by
    the key ``named_by`` of its table."""
    try:
        content = read_toml(file, decimals=decimals)
        return kind.model_validate(content | known)
    except FileError as error:
        raise InspectionError(str(error)) from None
    except ValidationError as error:
        raise InspectionError(f"{file}: {sentence_of(error, content, named_by=named_by)}") from None
