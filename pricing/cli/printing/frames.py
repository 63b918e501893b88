"""Frames and sentences on a terminal, as plain text that cannot steer it."""

from typing import TYPE_CHECKING

from pricing.cli.printing.plain import plain_cell

if TYPE_CHECKING:
    import polars as pl


def show(frame: "pl.DataFrame", title: str) -> None:
    """A frame as a table of plain text, columns that are empty left out."""
    from rich.table import Table
    from rich.text import Text

    from pricing.cli.printing.terminal import console

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

    from pricing.cli.printing.terminal import console

    console().print(Text(plain_cell(sentence)))
