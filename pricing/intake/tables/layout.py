"""How a file lies on the disk, and where its rows stand in it."""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True)
class Layout:
    """How a file lies on the disk, as far as it does not say so itself; ``None`` is found out."""

    sheet: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    header_row: int | None = None


def numbered(frame: pl.DataFrame, first: int) -> pl.DataFrame:
    """A frame with ``row_number``, counting from ``first``."""
    numbers = pl.int_range(first, first + frame.height, dtype=pl.Int64, eager=True)
    return frame.drop("row_number", strict=False).with_columns(numbers.alias("row_number"))
