"""Facts as values that JSON can hold."""

from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl


def plain(value: Any) -> Any:
    """Amounts as decimal strings, dates as ISO 8601, frames as lists of rows, dataclasses as objects, without
    the fields that do not show themselves (``repr=False``), such as the draws that facts were read from.

    >>> plain({"low": Decimal("4.50"), "at": date(2026, 6, 30)})
    {'low': '4.50', 'at': '2026-06-30'}
    """
    match value:
        case pl.DataFrame():
            return [plain(row) for row in value.iter_rows(named=True)]
        case dict():
            return {name: plain(part) for name, part in value.items()}
        case list() | tuple():
            return [plain(part) for part in value]
        case Decimal() | date():
            return str(value)
        case np.ndarray():
            return value.tolist()
        case _ if is_dataclass(value) and not isinstance(value, type):
            return {part.name: plain(getattr(value, part.name)) for part in fields(value) if part.repr}
        case _:
            return value


class PlainFacts:
    """Facts, a dataclass, that give themselves to programs."""

    def to_dict(self) -> dict[str, Any]:
        """The facts as values that JSON can hold: amounts as decimal strings, dates as ISO 8601; without the
        draws and the inspection that they were read from."""
        return dict(plain(self))
