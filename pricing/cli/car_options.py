"""What may be said of a car on the command line: one set of options for every command that takes a car."""

import inspect
from collections.abc import Callable
from functools import wraps
from typing import Annotated, Any, Final

import typer

from pricing.errors import DecisionError
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, DISTANCE_UNITS, DRIVE_SIDES, MATCHING_NUMBERS


def _said(
    make: Annotated[str, typer.Option(help="Make, as in the sale records.")],
    model: Annotated[str, typer.Option(help="Model.")],
    year: Annotated[int, typer.Option(help="Model year.")],
    variant: Annotated[str | None, typer.Option(help="Variant of the model.")] = None,
    condition_band: Annotated[str | None, typer.Option(help=f"One of: {', '.join(CONDITION_BANDS)}.")] = None,
    condition_score: Annotated[float | None, typer.Option(help="Condition score, 0 to 100.")] = None,
    odometer: Annotated[float | None, typer.Option(help="Odometer reading.")] = None,
    odometer_unit: Annotated[str, typer.Option(help=f"One of: {', '.join(DISTANCE_UNITS)}.")] = "km",
    option: Annotated[
        list[str] | None, typer.Option(help="An option the car has, such as overdrive; may be repeated.")
    ] = None,
    body_style: Annotated[str | None, typer.Option(help="Body style, as in the sale records.")] = None,
    drive_side: Annotated[str | None, typer.Option(help=f"One of: {', '.join(DRIVE_SIDES)}.")] = None,
    chassis_number: Annotated[str | None, typer.Option(help="Chassis number, of any form.")] = None,
    matching_numbers: Annotated[
        str | None, typer.Option(help=f"One of: {', '.join(MATCHING_NUMBERS)}.")
    ] = None,
    history_file: Annotated[
        bool | None, typer.Option("--history-file/--no-history-file", help="Whether papers tell its past.")
    ] = None,
    channel: Annotated[str | None, typer.Option(help=f"Where it is offered: {', '.join(CHANNELS)}.")] = None,
    country: Annotated[str | None, typer.Option(help="Country of the offer (ISO 3166-1 alpha-2).")] = None,
) -> dict[str, Any]:
    """The car in the record contract's columns."""
    if odometer_unit not in DISTANCE_UNITS:
        raise DecisionError(f"odometer unit {odometer_unit!r} is none of: {', '.join(DISTANCE_UNITS)}")
    return {
        "make": make,
        "model": model,
        "variant": variant,
        "year": year,
        "chassis_number": chassis_number,
        "body_style": body_style,
        "drive_side": drive_side,
        "condition_band": condition_band,
        "condition_score": condition_score,
        "odometer_km": None if odometer is None else odometer * DISTANCE_UNITS[odometer_unit],
        "options": option or [],
        "matching_numbers": matching_numbers,
        "history_file": history_file,
        "channel": channel,
        "country": country,
    }


_OPTIONS: Final = tuple(inspect.signature(_said).parameters.values())


def takes_car(command: Callable[..., None]) -> Callable[..., None]:
    """A command whose first parameter is a car (a dict), called with the options of a car in its place."""
    own = list(inspect.signature(command).parameters.values())[1:]
    keyword = inspect.Parameter.KEYWORD_ONLY

    @wraps(command)
    def run(**given: Any) -> None:
        car = _said(**{option.name: given.pop(option.name) for option in _OPTIONS})
        command(car, **given)

    together = [part.replace(kind=keyword) for part in (*_OPTIONS, *own)]
    run.__signature__ = inspect.Signature(together)  # type: ignore[attr-defined]
    run.__annotations__ = {part.name: part.annotation for part in together}
    return run
