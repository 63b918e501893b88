"""How every command answers: to a person, as JSON for a program, or quietly, with what it did beside it on
standard error (`--json`, `--quiet`, `--verbose`); and into files, as tables and charts."""

import json
import math
import platform
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from functools import wraps
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from pricing.cli.commands import Command, keyword, option, parameters_of, with_parameters
from pricing.cli.printing.console import REQUESTED, Output, quiet, say
from pricing.errors import FileError
from pricing.operations.configuration import masked
from pricing.whole_files import write_whole

if TYPE_CHECKING:
    import polars as pl

Printed = str | Sequence[str] | Callable[[], object]
"""Sentences, or what prints an answer."""


def answer(facts: Any, text: Printed) -> None:
    """Print what was asked for: as JSON when that is wanted, else as ``text``."""
    if REQUESTED.get().as_json:
        from pricing.decisions.plain import plain

        sys.stdout.write(json.dumps(_finite(plain(facts)), indent=2, default=str) + "\n")
    else:
        _print(text)


def done(facts: Mapping[str, Any], text: Printed) -> None:
    """Print what was done: as ``answer``, and nothing when quiet is wanted."""
    if REQUESTED.get().as_json or not quiet():
        answer(facts, text)


def note(sentence: str) -> None:
    """Say something beside the answer, on standard error."""
    if not quiet():
        sys.stderr.write(f"{sentence}\n")


def with_output(app: typer.Typer, without_json: Sequence[str] = ()) -> None:
    """Give every command of an application the options `--quiet` and `--verbose`, and `--json` unless it is
    named in ``without_json``."""
    for group in app.registered_groups:
        if group.typer_instance is not None:
            with_output(group.typer_instance, without_json)
    for command in app.registered_commands:
        if command.callback is not None:
            name = command.name or command.callback.__name__
            command.callback = _with_options(command.callback, as_json=name not in without_json)


def _with_options(command: Command, *, as_json: bool) -> Command:
    options = {
        "as_json": ("--json", "Print the answer as JSON."),
        "quiet": ("--quiet,-q", "Show no progress, and of what was done nothing but errors."),
        "verbose": ("--verbose,-v", "Say on standard error what is worked on, and how long it took."),
    }
    if not as_json:
        del options["as_json"]

    @wraps(command)
    def run(**parameters: Any) -> Any:
        output = Output(**{name: parameters.pop(name) for name in options})
        token = REQUESTED.set(output)
        try:
            with _described(parameters) if output.verbose else nullcontext():
                return command(**parameters)
        finally:
            REQUESTED.reset(token)

    more = [
        keyword(name, bool, option(about, *flags.split(",")), False)
        for name, (flags, about) in options.items()
    ]
    return with_parameters(run, [*parameters_of(command), *more])


@contextmanager
def _described(parameters: Mapping[str, Any]) -> Iterator[None]:
    """What is worked on and how long it took, on standard error; passwords in addresses are masked."""
    from importlib.metadata import version

    started = time.perf_counter()
    named = f"pricing {version('classic-car-pricing')}, Python {platform.python_version()}"
    if parameters.get("market") is not None:
        named += f", market {masked(str(parameters['market']))}"
    sys.stderr.write(f"{named}\n")
    try:
        yield
    finally:
        sys.stderr.write(f"took {time.perf_counter() - started:.2f} s\n")


def _print(text: Printed) -> None:
    if callable(text):
        text()
        return

    for sentence in [text] if isinstance(text, str) else text:
        say(sentence)


def _finite(value: Any) -> Any:
    """JSON has no word for what is no number: null.

    >>> _finite({"mid": float("nan"), "low": [1.0]})
    {'mid': None, 'low': [1.0]}
    """
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(name): _finite(part) for name, part in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_finite(part) for part in value]
    return value


def write_frame(frame: "pl.DataFrame", path: Path) -> None:
    """Write a frame as CSV without formulas or as parquet, by the ending of the name."""
    import polars as pl

    from pricing.intake.exports import neutral_names, neutralised

    made = BytesIO()  # whole first: polars tells a full disk as a fault of the file it writes
    if path.suffix == ".csv":
        neutral_names(frame.with_columns(neutralised(pl.col(pl.String)))).write_csv(made)
    elif path.suffix == ".parquet":
        frame.write_parquet(made)
    else:
        raise FileError(f"{path}: is written as .csv or .parquet")
    write_whole(path, made.getvalue())


def draw(chart: Any, path: Path) -> None:
    """Draw a chart into a file, by the ending of its name."""
    if path.suffix not in (".svg", ".png", ".html", ".json"):
        raise FileError(f"{path}: a chart is drawn into .svg, .png, .html or .json")
    if path.suffix == ".html":
        from pricing.charts.drawing import chart_page

        drawn = chart_page(chart).encode()
    elif path.suffix == ".json":
        drawn = chart.to_json().encode()
    else:
        import vl_convert

        from pricing.charts.drawing import drawable

        picture = drawable(chart.to_dict())
        svg = path.suffix == ".svg"
        drawn = vl_convert.vegalite_to_svg(picture).encode() if svg else vl_convert.vegalite_to_png(picture)
    write_whole(path, drawn)
    note(f"drawn into {path}")
