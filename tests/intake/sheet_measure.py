"""How well sheets are read: what is counted alike of the sheets of the generator and of strangers."""

from dataclasses import dataclass, field
from datetime import date
from typing import Final

TODAY: Final = date(2026, 1, 1)
RIGHT: Final = 0.95
"""Share of the columns, and of the rows, that are to be right."""


@dataclass
class Measure:
    """What came of the sheets."""

    columns: int = 0
    columns_right: int = 0
    rows: int = 0
    accepted: int = 0
    wrong: list[str] = field(default_factory=list)
    """Numbers, days and words that are not what the sheet says."""
    columns_wrong: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    """Rows that did not come in, with the rule or the sentence."""

    def told(self) -> None:
        """Print the figures, and each thing that is not right."""
        print(f"\ncolumns right: {self.columns_right} of {self.columns}")
        print(f"rows accepted: {self.accepted} of {self.rows}; wrong: {len(self.wrong)}")
        for line in (*self.columns_wrong, *self.wrong, *self.missed):
            print(line)

    def held(self) -> None:
        """Fail unless columns and rows are right as often as they are to be, and nothing is wrong."""
        assert self.columns_right >= RIGHT * self.columns, self.columns_wrong
        assert self.accepted >= RIGHT * self.rows, self.missed
        assert self.wrong == []
