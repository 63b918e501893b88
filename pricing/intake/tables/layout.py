"""How a file lies on the disk, and how its rows are handed on."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

Parts = Iterator[tuple[pl.DataFrame, int, Counter[str]]]
"""What each reader gives, part by part: rows with ``row_number``, how many rows the file has in all, about,
and how many rows were set aside as none of its records, by kind."""


@dataclass(frozen=True)
class Layout:
    """How a file lies on the disk, as far as it does not say so itself; ``None`` is found out."""

    sheet: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    header_row: int | None = None

    @property
    def header(self) -> int | None:
        """Rows above the header, where it is stated."""
        return None if self.header_row is None else self.header_row - 1


def numbered(frame: pl.DataFrame, first: int) -> pl.DataFrame:
    """A frame with ``row_number``, counting from ``first``."""
    numbers = pl.int_range(first, first + frame.height, dtype=pl.Int64, eager=True)
    return frame.drop("row_number", strict=False).with_columns(numbers.alias("row_number"))
