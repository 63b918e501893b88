"""Arrays of numpy by what they hold, named once, and what several of them with a row each have in common."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Aligned:
    """A dataclass whose fields are arrays or frames of equally many rows, which belong together."""

    def __getitem__(self, rows: slice | Ints | Bools) -> Self:
        """Some of the rows."""
        return type(self)(*(getattr(self, field.name)[rows] for field in fields(self)))

    @classmethod
    def joined(cls, parts: Sequence[Self], order: Ints | None = None) -> Self:
        """The rows of several as one, taken in ``order`` where one is given."""
        if len(parts) == 1 and order is None:
            return parts[0]
        wholes = (np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(cls))
        return cls(*(whole if order is None else whole[order] for whole in wholes))
