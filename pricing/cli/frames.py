"""Frames and sentences on a terminal, as plain text that cannot steer it."""

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import polars as pl


def show(frame: "pl.DataFrame", title: str) -> None:
    """A frame as a table of plain text, columns that are empty left out."""
    from rich.table import Table
    from rich.text import Text

    from pricing.cli.terminal import console

    if frame.is_empty():
        say(f"{title}: none")
        return
    kept = [series for series in frame if series.null_count() < series.len()]
    rows = [
        [plain_cell(cell) for cell in row] for row in zip(*(series.to_list() for series in kept), strict=True)
    ]
    table = Table(title=Text(title), title_justify="left")
    for series in kept:
        table.add_column(Text(plain_cell(series.name)), overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console().print(table)


def say(sentence: str) -> None:
    """Print one sentence, as plain text that cannot steer the terminal."""
    from rich.text import Text

    from pricing.cli.terminal import console

    console().print(Text(plain_cell(sentence)))


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
