"""Periods of an index: equal stretches of the calendar, numbered from the first to the last, gaps
included."""

from dataclasses import dataclass
from datetime import date
from typing import Final, Self

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.errors import EvidenceError

LENGTHS: Final = {"month": "1mo", "quarter": "3mo", "half-year": "6mo", "year": "1y"}
"""Lengths of a period, and the calendar step of each."""


@dataclass(frozen=True)
class Periods:
    """Consecutive periods of one ``length``; ``starts`` are their first days.

    >>> quarters = Periods.spanning(pl.Series([date(2023, 11, 5), date(2024, 5, 1)]), "quarter")
    >>> quarters.names
    ['2023 Q4', '2024 Q1', '2024 Q2']
    >>> quarters.codes(pl.Series([date(2024, 3, 31), date(2024, 4, 1)])).tolist()
    [1, 2]
    """

    length: str
    starts: tuple[date, ...]

    @classmethod
    def spanning(cls, dates: pl.Series, length: str) -> Self:
        """The periods from the first to the last of ``dates``.

        Raises:
            EvidenceError: the length is none of ``LENGTHS``, or there is no date.
        """
        if length not in LENGTHS:
            raise EvidenceError(f"a period is one of {', '.join(LENGTHS)}; got {length!r}")
        known = dates.drop_nulls()
        if known.is_empty():
            raise EvidenceError("an index needs dated sales; got none")
        ends = pl.Series([known.min(), known.max()]).dt.truncate(LENGTHS[length])
        starts = pl.date_range(ends[0], ends[1], LENGTHS[length], eager=True)
        return cls(length, tuple(starts.to_list()))

    def __len__(self) -> int:
        return len(self.starts)

    @property
    def names(self) -> list[str]:
        """What each period is called: 2024-03, 2024 Q1, 2024 H1 or 2024."""
        styles = {
            "month": lambda day: f"{day.year}-{day.month:02d}",
            "quarter": lambda day: f"{day.year} Q{(day.month + 2) // 3}",
            "half-year": lambda day: f"{day.year} H{(day.month + 5) // 6}",
            "year": lambda day: str(day.year),
        }
        return [styles[self.length](day) for day in self.starts]

    def codes(self, dates: pl.Series) -> Ints:
        """Number of the period that each date falls in."""
        starts = np.array(self.starts, dtype="datetime64[D]")
        days = dates.cast(pl.Date).to_numpy().astype("datetime64[D]")
        return (np.searchsorted(starts, days, side="right") - 1).astype(np.int64)

    def middles(self) -> Floats:
        """Middle day of every period, in days since 1970."""
        starts = pl.Series(self.starts, dtype=pl.Date)
        ends = starts.dt.offset_by(LENGTHS[self.length])
        return (starts.to_physical().to_numpy() + ends.to_physical().to_numpy() - 1) / 2.0
