"""How much a file that a stranger made may ask of this machine, in one place, each limit a setting.

What grows with a file does so in proportion to its size, so that a large file of true records is read and a
small one cannot grow without bound.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final

from pricing.errors import FileError

MEGABYTE: Final = 1_000_000

LONGEST_SIDE: Final = 1600
"""Pixels of a picture as it is shown: some 245 to the inch over the width of a page."""

LONGEST_HEADING: Final = 1_000
"""Characters of the name of a column."""


def setting(default: Any, about: str, *, least: float | None = None, allowed: tuple[str, ...] = ()) -> Any:
    """A field that is a setting: its default, what it is about, and what it may be."""
    return field(default=default, metadata={"about": about, "least": least, "allowed": allowed})


@dataclass(frozen=True)
class Limits:
    """Limits of one read. Each field is a setting: in capitals after ``PRICING_`` an environment variable.

    >>> Limits.of({"PRICING_READ_COLUMNS": "300"}).read_columns
    300
    >>> Limits().bytes_out(1000), Limits().bytes_out(100_000_000)
    (100100000, 10100000000)
    """

    read_memory: int = setting(
        800 * MEGABYTE, "bytes of memory that reading one file may take, and 8 times its size", least=1
    )
    read_seconds: int = setting(20, "seconds that reading one file may take, and 1 a megabyte", least=1)
    read_size: int = setting(20_000 * MEGABYTE, "bytes of the largest file that is read", least=1)
    read_expansion: int = setting(
        100, "times its size that a file's contents may come to, and 100 megabytes", least=1
    )
    read_columns: int = setting(2_000, "columns of a file of records", least=1)
    read_cell: int = setting(100_000, "characters of one cell of a file of records", least=1)
    read_files: int = setting(64, "files that the reading of one may hold open", least=16)

    @classmethod
    def of(cls, environment: Mapping[str, str]) -> "Limits":
        """From environment variables, defaults for absent ones. Raises ``FileError`` for no whole number."""
        values = {}
        for limit in fields(Limits):
            name = f"PRICING_{limit.name.upper()}"
            text = environment.get(name)
            if text is None:
                continue
            if not text.isdecimal() or int(text) < limit.metadata["least"]:
                raise FileError(
                    f"{name} is {text!r}, expected a whole number of at least {limit.metadata['least']}"
                )
            values[limit.name] = int(text)
        return cls(**values)

    def memory(self, size: int) -> int:
        """Bytes of memory for a file of ``size`` bytes."""
        return self.read_memory + 8 * size

    def seconds(self, size: int) -> float:
        """Seconds for a file of ``size`` bytes."""
        return self.read_seconds + size / MEGABYTE

    def bytes_out(self, size: int) -> int:
        """Bytes that the contents of a file of ``size`` bytes may come to."""
        return 100 * MEGABYTE + self.read_expansion * size
