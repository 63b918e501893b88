"""What may be said of a car on the command line: one set of options for every command that takes a car."""

import inspect
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Annotated, Any, Final

import typer

from pricing.car_fields import CONDITION, FIELDS, NEEDED, Field
from pricing.errors import CarError
from pricing.vocabulary import DISTANCE_UNITS

_TYPES: Final[Mapping[str, Any]] = {
    "text": str, "texts": list[str], "whole": int, "number": float, "yes or no": bool,
}  # fmt: skip


_told: Any = Annotated  # of types that are known when the program runs


def takes_car(command: Callable[..., None]) -> Callable[..., None]:
    """A command whose first parameter is what is said of a car, called with the options of a car in its
    place; ``Snapshot.car`` makes it a car."""
    return _takes(command, FIELDS.values(), NEEDED)


def takes_seen_car(command: Callable[..., None]) -> Callable[..., None]:
    """The same for a car that is about to be inspected: nothing need be known, and its condition is not."""
    return _takes(command, [field for field in FIELDS.values() if field.name not in CONDITION], ())


def _takes(command: Callable[..., None], fields: Any, needed: tuple[str, ...]) -> Callable[..., None]:
    unit = Annotated[str, typer.Option(help=f"One of: {', '.join(DISTANCE_UNITS)}.")]
    options = [_option(field, needed=field.name in needed) for field in fields]
    options += [_keyword("odometer_unit", unit, "km")]

    @wraps(command)
    def run(**given: Any) -> None:
        said = {option.name: given.pop(option.name) for option in options}
        unit = said.pop("odometer_unit")
        if unit not in DISTANCE_UNITS:
            raise CarError(f"odometer unit {unit!r} is none of: {', '.join(DISTANCE_UNITS)}")
        reading = said["odometer_km"]
        command(said | {"odometer_km": None if reading is None else reading * DISTANCE_UNITS[unit]}, **given)

    own = list(inspect.signature(command).parameters.values())[1:]
    together = [*options, *(part.replace(kind=inspect.Parameter.KEYWORD_ONLY) for part in own)]
    run.__signature__ = inspect.Signature(together)  # type: ignore[attr-defined]
    run.__annotations__ = {part.name: part.annotation for part in together}
    return run


def _option(field: Field, *, needed: bool) -> inspect.Parameter:
    name = field.label.replace(" ", "-")
    flag = {"texts": f"--{name.removesuffix('s')}", "yes or no": f"--{name}/--no-{name}"}.get(
        field.kind, f"--{name}"
    )
    asks = field.question.replace(" in kilometres", "")
    again = "; may be repeated" if field.kind == "texts" else ""
    kind = _TYPES[field.kind] if needed else _TYPES[field.kind] | None
    told = _told[kind, typer.Option(flag, help=f"{asks[0].upper()}{asks[1:]}{again}.")]
    return _keyword(field.name, told, inspect.Parameter.empty if needed else None)


def _keyword(name: str, annotation: Any, default: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
