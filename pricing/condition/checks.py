"""The checks of an inspection: what to look at, what a bad sign means, and the sheet they make up.

Checks are data (TOML). Three files come with the tool: what every car has in common, what a car with a
separate chassis has of its own, and what a car whose body carries itself has. Files for single models extend
them.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from pricing.errors import FileError, InspectionError
from pricing.untrusted.documents import read_toml

CONSTRUCTIONS: Final = ("separate chassis", "monocoque")
"""What carries the car: a frame below the body, or the body itself."""

AREAS: Final = (
    "identity and papers",
    "structure",
    "outer body and paint",
    "engine",
    "gearbox and final drive",
    "steering",
    "front suspension",
    "rear suspension",
    "brakes",
    "wheels and tyres",
    "interior",
    "electrics",
    "hood or sunroof",
    "upgrades and originality",
    "road test",
)
"""The walk round the car, in order."""

ROLES: Final = ("papers", "structure", "body", "mechanical", "control", "cabin", "electrical", "workmanship")
"""What a check is about. ``structure`` caps the score; ``papers`` says what the car is and never enters the
score."""

STATES: Final = ("sound", "worn", "needs repair", "structural or missing")
"""What was found, best first."""

NOT_SEEN: Final = "not seen"
"""What was not looked at, or could not be: unknown, never sound."""

FITTINGS: Final = ("hood", "overdrive", "sunroof")
"""Parts that not every car has; their checks are asked only where the part is fitted."""

SHEETS: Final = Path(__file__).parent / "sheets"
MAXIMUM_WEIGHT: Final = 5.0
_TEXTS: Final = ("id", "area", "title", "where", "act", "bad_sign", "role")
_KEYS: Final = frozenset({*_TEXTS, "weight", "caution", "fitted", "jobs"})


@dataclass(frozen=True)
class Check:
    """One thing to look at.

    ``where`` to look, what to do (``act``), what a ``bad_sign`` means, how much it matters (``weight``, above
    0 to 5), its ``role``, the ``caution`` that goes with it (a name in ``Sheet.cautions``, or ""), the part
    that must be ``fitted`` for it to be asked (or ""), and the repair ``jobs`` that each of ``STATES`` leads
    to.
    """

    id: str
    area: str
    title: str
    where: str
    act: str
    bad_sign: str
    weight: float
    role: str
    caution: str
    fitted: str
    jobs: dict[str, tuple[str, ...]]

    @property
    def scored(self) -> bool:
        """Whether the check enters the condition score; papers say what a car is, not how it is."""
        return self.role != "papers"


@dataclass(frozen=True)
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
        """The sheet for a construction, and for a make and model where the folder ``extensions`` has checks
        for it.

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
        contents = [_shipped("common"), _shipped(construction.replace(" ", "_"))]
        if extensions is not None and make and model:
            if not extensions.is_dir():
                raise InspectionError(f"{extensions}: the folder of sheet extensions does not exist")
            contents += [
                found
                for found in map(_read, sorted(extensions.glob("*.toml")))
                if _is_for(found, construction, make, model)
            ]
        cautions = {key: text for content in contents for key, text in content.get("cautions", {}).items()}
        checks: dict[str, Check] = {}
        for content in contents:
            for check in content["checks"]:
                if check.id in checks:
                    raise InspectionError(f"{content['path']}: check {check.id!r} is on the sheet already")
                if check.caution and check.caution not in cautions:
                    raise InspectionError(
                        f"{content['path']}: check {check.id!r} names an unknown caution {check.caution!r}"
                    )
                checks[check.id] = check
        return cls(
            construction=construction,
            fitted=tuple(sorted(parts)),
            names=tuple(content["name"] for content in contents),
            checks=tuple(
                sorted(
                    (check for check in checks.values() if not check.fitted or check.fitted in parts),
                    key=lambda check: AREAS.index(check.area),
                )
            ),
            cautions=cautions,
            general_cautions=tuple(
                text for content in contents for text in content.get("general_cautions", {}).values()
            ),
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


def _is_for(content: dict[str, Any], construction: str, make: str, model: str) -> bool:
    """Whether a sheet file extends the sheet of that construction, make and model (case aside)."""
    for key in ("construction", "make", "model"):
        if not isinstance(content.get(key), str):
            raise InspectionError(f"{content['path']}: an extension must name its {key}")
    return bool(
        content["construction"] == construction
        and content["make"].casefold() == make.casefold()
        and content["model"].casefold() == model.casefold()
    )


@cache
def _shipped(name: str) -> dict[str, Any]:
    """A sheet file that comes with the tool, read once."""
    return _read(SHEETS / f"{name}.toml")


def _read(path: Path) -> dict[str, Any]:
    """One sheet file, its checks as ``Check`` under ``checks``."""
    try:
        content = read_toml(path)
    except FileError as error:
        raise InspectionError(str(error)) from None
    rows = content.get("check", [])
    if not isinstance(rows, list) or not isinstance(content.get("name"), str):
        raise InspectionError(f"{path}: a sheet needs a name and a list of [[check]]")
    for key in ("cautions", "general_cautions"):
        texts = content.get(key, {})
        if not isinstance(texts, dict) or not all(isinstance(text, str) for text in texts.values()):
            raise InspectionError(f"{path}: [{key}] must hold texts")
    return {**content, "path": path, "checks": tuple(_check(path, row) for row in rows)}


def _check(path: Path, row: Any) -> Check:
    """One row of a sheet file as a check."""
    name = row.get("id") if isinstance(row, dict) else None
    if not isinstance(name, str) or not name:
        raise InspectionError(f"{path}: a check without an id")

    def refuse(what: str) -> InspectionError:
        return InspectionError(f"{path}: check {name!r}: {what}")

    if unknown := sorted(set(row) - _KEYS):
        raise refuse(f"unknown key {unknown[0]!r}")
    for key in _TEXTS:
        if not isinstance(row.get(key), str) or not row[key].strip():
            raise refuse(f"{key} is missing")
    if row["area"] not in AREAS:
        raise refuse(f"unknown area {row['area']!r}, expected one of {', '.join(AREAS)}")
    if row["role"] not in ROLES:
        raise refuse(f"unknown role {row['role']!r}, expected one of {', '.join(ROLES)}")
    if (row["role"] == "structure") != (row["area"] == "structure"):
        raise refuse("the role structure and the area structure go together")
    weight = row.get("weight")
    if isinstance(weight, bool) or not isinstance(weight, int | float) or not 0 < weight <= MAXIMUM_WEIGHT:
        raise refuse(f"weight must be above 0 and at most {MAXIMUM_WEIGHT:g}, got {weight!r}")
    fitted, caution, jobs = row.get("fitted", ""), row.get("caution", ""), row.get("jobs", {})
    if fitted not in ("", *FITTINGS):
        raise refuse(f"unknown fitting {fitted!r}, expected one of {', '.join(FITTINGS)}")
    if not isinstance(caution, str):
        raise refuse("caution must be the name of a caution")
    if not isinstance(jobs, dict):
        raise refuse("jobs must be a table: state = [jobs]")
    for state, named in jobs.items():
        if state not in STATES[1:]:
            raise refuse(f"jobs for the unknown state {state!r}, expected one of {', '.join(STATES[1:])}")
        if not isinstance(named, list) or not all(isinstance(job, str) for job in named):
            raise refuse(f"jobs for {state!r} must be a list of job names")
    return Check(
        **{key: row[key] for key in _TEXTS},
        weight=float(weight),
        caution=caution,
        fitted=fitted,
        jobs={state: tuple(named) for state, named in jobs.items()},
    )
