"""What the commands are made of: groups whose help shows an example, and the options that several share."""

import inspect
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import wraps
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from pricing.car_fields import CONDITION, FIELDS, NEEDED, Field
from pricing.errors import CarError
from pricing.vocabulary import DISTANCE_UNITS

if TYPE_CHECKING:
    pass

Command = Callable[..., Any]


class Commands(typer.Typer):
    """A group of commands; without a name they stand beside those of the group that takes it in."""

    def __init__(self, name: str = "", about: str = "", **rules: Any) -> None:
        if name:
            rules |= {"name": name, "no_args_is_help": True} | ({"help": about} if about else {})
        super().__init__(**rules)

    def example(self, line: str, name: str | None = None, **more: Any) -> Callable[[Command], Command]:
        """Registers a command, with a line under its help that calls it."""
        return self.command(name, epilog=f"Example: {line}", **more)


def option(about: str, *flags: str, **rules: Any) -> Any:
    """An option; without flags it has the name of its parameter."""
    return typer.Option(*flags, help=about, **rules)


def argument(about: str, **rules: Any) -> Any:
    """An argument, whose default speaks for itself."""
    return typer.Argument(help=about, **{"show_default": False, **rules})


def takes_car(command: Command) -> Command:
    """A command whose first parameter is what is said of a car, called with the options of a car in its
    place; ``Snapshot.car`` makes it a car."""
    return _takes(command, FIELDS.values(), NEEDED)


def takes_seen_car(command: Command) -> Command:
    """The same for a car that is about to be inspected: nothing need be known, and its condition is not."""
    return _takes(command, [field for field in FIELDS.values() if field.name not in CONDITION], ())


def keyword(name: str, kind: Any, info: Any, default: Any) -> inspect.Parameter:
    """A parameter for an option whose type is known when the program runs."""
    annotated: Any = Annotated
    return inspect.Parameter(
        name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotated[kind, info]
    )


def parameters_of(command: Command) -> list[inspect.Parameter]:
    """Its own, each to be given by name."""
    own = inspect.signature(command).parameters.values()
    return [part.replace(kind=inspect.Parameter.KEYWORD_ONLY) for part in own]


def with_parameters(run: Command, parameters: Sequence[inspect.Parameter]) -> Command:
    """The same function, for whoever reads its signature: with these parameters."""
    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {part.name: part.annotation for part in parameters}
    return run


_TYPES: Final[Mapping[str, Any]] = {
    "text": str, "texts": list[str], "whole": int, "number": float, "yes or no": bool,
}  # fmt: skip


def _takes(command: Command, fields: Iterable[Field], needed: tuple[str, ...]) -> Command:
    options = [_car_option(field, needed=field.name in needed) for field in fields]
    options += [keyword("odometer_unit", str, option(f"One of: {', '.join(DISTANCE_UNITS)}."), "km")]

    @wraps(command)
    def run(**values: Any) -> None:
        car = {option.name: values.pop(option.name) for option in options}
        unit = car.pop("odometer_unit")
        if unit not in DISTANCE_UNITS:
            raise CarError(f"odometer unit {unit!r} is none of: {', '.join(DISTANCE_UNITS)}")
        reading = car["odometer_km"]
        car["odometer_km"] = None if reading is None else reading * DISTANCE_UNITS[unit]
        command(car, **values)

    return with_parameters(run, [*options, *parameters_of(command)[1:]])


def _car_option(field: Field, *, needed: bool) -> inspect.Parameter:
    name = field.label.replace(" ", "-")
    flags = {"texts": f"--{name.removesuffix('s')}", "yes or no": f"--{name}/--no-{name}"}
    question = field.question.replace(" in kilometres", "")
    again = "; may be repeated" if field.kind == "texts" else ""
    about = option(f"{question[0].upper()}{question[1:]}{again}.", flags.get(field.kind, f"--{name}"))
    kind = _TYPES[field.kind] if needed else _TYPES[field.kind] | None
    return keyword(field.name, kind, about, inspect.Parameter.empty if needed else None)
