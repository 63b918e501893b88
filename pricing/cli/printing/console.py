"""A command's terminal: what was asked of its answer, and sentences, tables and progress that cannot steer
it."""

import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from string import Formatter
from typing import TYPE_CHECKING, Any, Final

from rich.console import Console, ConsoleOptions, ConsoleRenderable, JustifyMethod, RenderHook, RenderResult
from rich.measure import Measurement
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from pricing.progress import Progress

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True)
class Output:
    """What was asked of a command's answer."""

    as_json: bool = False
    quiet: bool = False
    verbose: bool = False


_AS_TEXT: Final = Output()
REQUESTED: Final = ContextVar("output", default=_AS_TEXT)


def quiet() -> bool:
    """Whether nothing but answers, warnings and errors is wanted."""
    return REQUESTED.get().quiet


def as_json() -> bool:
    """Whether the answer is to be JSON, and nothing else on standard output."""
    return REQUESTED.get().as_json


def plain_lines(text: str) -> str:
    r"""The same of text that may have several lines.

    >>> plain_lines("one\x1b[2J\ntwo")
    'one�[2J\ntwo'
    """
    return "\n".join(map(plain_cell, text.split("\n")))


def plain_cell(cell: object) -> str:
    """Text without what would steer a terminal."""
    if cell is None:
        return ""
    text = ", ".join(map(str, cell)) if isinstance(cell, list) else str(cell)
    return _STEERING.sub("\N{REPLACEMENT CHARACTER}", text)


_STEERING: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Control characters (C0, C1), line separators, and what turns the direction of text (UAX #9)."""


class _Plain(RenderHook):
    """Has all that is printed lose what would steer a terminal, wherever it stands: text of strangers' files
    is in cells, headings and sentences."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        """The same, each plain when it is drawn."""
        return [_Plainly(each) for each in renderables]


class _Plainly:
    """Something to print, as what it draws."""

    def __init__(self, drawn: ConsoleRenderable) -> None:
        self._drawn = drawn

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for text, style, control in console.render(self._drawn, options):
            yield Segment(text if control else plain_lines(text), style, control)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Measurement.get(console, options, self._drawn)


def console() -> Console:
    """Standard output, never wrapped where it goes to a file or a pipe."""
    made = Console(highlight=False, markup=False, soft_wrap=not sys.stdout.isatty())
    made.push_render_hook(_Plain())
    return made


def say(*sentences: str, style: str = "") -> None:
    """Print sentences, a line each, as plain text."""
    out = console()
    for sentence in sentences:
        out.print(Text(plain_cell(sentence), style=style))


def caution(*texts: str) -> None:
    """Print cautions and notices, which may have several lines."""
    for text in texts:
        say(*(text.splitlines() or [""]), style="italic")


_WHOLE: Final = ("revision", "kind", "state", "effective", "made at (UTC)")
"""Columns of texts that stay on one line, as the first does."""


def print_table(
    columns: Mapping[str, str | Callable[[Any], object]],
    rows: "pl.DataFrame | Iterable[Any]",
    *,
    figures: bool = False,
    title: str | None = None,
    empty: str | None = None,
) -> None:
    """Print a table, a row for each of a frame, or for each mapping or dataclass.

    ``columns``: by heading a template of names in braces, blank where one of them is None, or what makes the
    cell of a row. ``figures``: all but the first are numbers, to the right. ``empty`` is said in place of a
    table without rows, "" for nothing.
    """
    gap = 1 if figures else 2
    table = Table(title=title, title_justify="left", title_style="bold", box=None, padding=(0, gap, 0, 0))
    for place, name in enumerate(columns):
        whole = not figures and (place == 0 or name in _WHOLE)
        side: JustifyMethod = "right" if figures and place else "left"
        table.add_column(Text(name, style="underline"), justify=side, overflow="fold", no_wrap=whole)
    for row in rows.iter_rows(named=True) if hasattr(rows, "iter_rows") else rows:
        table.add_row(*(_cell(made, row) for made in columns.values()))
    if table.row_count or empty is None:
        console().print(table)
    elif empty:
        say(empty)


def _cell(made: str | Callable[[Any], object], row: Any) -> Text:
    """A cell of ``print_table``.

    >>> _cell("{low:.1f} to {high:.1f}", {"low": 1, "high": 2}), _cell("{low:.1f}", {"low": None})
    (<text '1.0 to 2.0' [] ''>, <text '' [] ''>)
    """
    if not isinstance(made, str):
        cell = made(row)
        return cell if isinstance(cell, Text) else Text(str(cell))
    values = row if isinstance(row, Mapping) else vars(row)
    names = [re.split(r"[.\[]", name)[0] for _, name, _, _ in Formatter().parse(made) if name]
    return Text("" if any(values[name] is None for name in names) else made.format_map(values))


def show(frame: "pl.DataFrame", title: str) -> None:
    """A frame as a table of plain text, columns that are empty left out."""
    if frame.is_empty():
        say(f"{title}: none")
        return
    filled = [series for series in frame if series.null_count() < series.len()]
    table = Table(title=Text(title), title_justify="left")
    for series in filled:
        table.add_column(Text(plain_cell(series.name)), overflow="fold")
    for row in zip(*(series.to_list() for series in filled), strict=True):
        table.add_row(*(Text(plain_cell(cell)) for cell in row))
    console().print(table)


@contextmanager
def progress() -> Iterator[Progress]:
    """A progress display on standard error; give the function it yields to whatever works."""
    from rich.progress import BarColumn, MofNCompleteColumn, SpinnerColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Display

    columns = (
        SpinnerColumn(finished_text="-"), TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=30), MofNCompleteColumn(), TimeElapsedColumn(),
    )  # fmt: skip
    with Display(*columns, console=Console(stderr=True), disable=quiet()) as display:
        tasks: dict[str, Any] = {}

        def tell(step: str, done: int, total: int) -> None:
            for earlier, task in tasks.items():
                if earlier != step:
                    display.update(task, completed=display.tasks[task].total)
            if step not in tasks:
                tasks[step] = display.add_task(step, total=total)
            display.update(tasks[step], completed=done, total=total)

        yield tell
