"""Cells that go out to files which people open in a spreadsheet, and come back."""

from typing import Final

import polars as pl

_RISKY: Final = r"^[=+\-@\t\r]"
_NUMBER: Final = r"^[-+]?[0-9][0-9.,]*$"


def neutralised(cell: pl.Expr) -> pl.Expr:
    """Text with an apostrophe before what a spreadsheet would run as a formula; inverse: ``restored``.

    >>> cells = pl.DataFrame({"cell": ["=1+1", "-5", "@SUM(A1)", "plain", "'=x", None]})
    >>> safe = cells.select(neutralised(pl.col("cell")))
    >>> safe["cell"].to_list()
    ["'=1+1", '-5', "'@SUM(A1)", 'plain', "''=x", None]
    >>> safe.select(restored(pl.col("cell"))).equals(cells)
    True
    """
    risky = cell.str.contains(_RISKY) & ~cell.str.contains(_NUMBER)
    return (
        pl.when(risky | cell.str.contains(r"^'+[=+\-@\t\r]")).then(cell.str.replace("^", "'")).otherwise(cell)
    )


def restored(cell: pl.Expr) -> pl.Expr:
    """Text as it was before ``neutralised``."""
    return pl.when(cell.str.contains(r"^'+[=+\-@\t\r]")).then(cell.str.slice(1)).otherwise(cell)
