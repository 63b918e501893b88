"""Evidence as JSON text that reads the same years later: every digit kept, every type said, no code in it."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.errors import AppraisalError

_TYPES: Final = {
    "text": pl.String(),
    "whole": pl.Int64(),
    "number": pl.Float64(),
    "yes or no": pl.Boolean(),
    "day": pl.Date(),
    "amount": pl.Decimal(18, 2),
    "thousandths": pl.Decimal(18, 3),
    "texts": pl.List(pl.String()),
}
"""Types of frozen columns. Whole numbers of every width are frozen as one."""

_AS_TEXT: Final = ("day", "amount", "thousandths")
_NAMES: Final = {kind: name for name, kind in _TYPES.items()}


OLDER_NAMES: Final = {"ring": "match_level"}
"""Columns of evidence that was frozen before they were named as they are."""


def serialise(value: object) -> str:
    """Dataclasses, frames, days and amounts as JSON text; equal values give equal text.

    >>> serialise({"at": date(2026, 6, 30), "low": Decimal("4.50")})
    '{"at":{"day":"2026-06-30"},"low":{"amount":"4.50"}}'

    Raises:
        AppraisalError: something in it is of a type that cannot be frozen.
    """
    return json.dumps(
        _serialised(value), ensure_ascii=True, sort_keys=True, separators=(",", ":"), allow_nan=False
    )


def digest(text: str) -> str:
    """The fingerprint of frozen evidence (SHA-256, hexadecimal)."""
    return hashlib.sha256(text.encode()).hexdigest()


def deserialise(text: str, kinds: Mapping[str, type]) -> Any:
    """The inverse of ``serialise``; ``kinds`` are the dataclasses there may be, by name.

    A field that a class no longer has is passed over, and one that it has gained takes its default.

    >>> frame = pl.DataFrame({"price": [Decimal("4.50"), None], "options": [["overdrive"], []]})
    >>> deserialise(serialise(frame), {}).equals(frame)
    True

    Raises:
        AppraisalError: the text is no frozen evidence, or lacks what its classes need.
    """
    try:
        return _deserialised(json.loads(text), kinds)
    except (
        ValueError, KeyError, TypeError, AttributeError, ArithmeticError, pl.exceptions.PolarsError,
    ) as error:  # fmt: skip
        raise AppraisalError(f"the frozen evidence cannot be read: {error}") from None


def _serialised(value: Any) -> Any:
    match value:
        case pl.DataFrame():
            return {"frame": [_column(value[name]) for name in value.columns]}
        case Decimal():
            return {"amount": str(value)}
        case date():
            return {"day": value.isoformat()}
        case list() | tuple():
            return [_serialised(part) for part in value]
        case Mapping():
            return {str(name): _serialised(part) for name, part in value.items()}
        case None | bool() | int() | float() | str():
            return value
        case _ if is_dataclass(value) and not isinstance(value, type):
            parts = {part.name: _serialised(getattr(value, part.name)) for part in fields(value)}
            return {"kind": type(value).__name__, "fields": parts}
        case _:
            raise AppraisalError(f"evidence cannot hold a {type(value).__name__}")


def _column(series: pl.Series) -> list[Any]:
    kind = series.dtype
    if kind.is_integer():
        kind = pl.Int64()
    elif isinstance(kind, pl.Decimal):
        kind = pl.Decimal(18, 2 if kind.scale == 2 else 3)
    elif kind.is_float():
        kind = pl.Float64()
    elif kind == pl.Null:
        kind = pl.String()
    if kind not in _NAMES:
        raise AppraisalError(f"evidence cannot hold a column of {kind}: {series.name}")
    name, frozen = _NAMES[kind], series.cast(kind)
    if name == "number":
        frozen = frozen.fill_nan(None)
    return [series.name, name, (frozen.cast(pl.String) if name in _AS_TEXT else frozen).to_list()]


def _deserialised(value: Any, kinds: Mapping[str, type]) -> Any:
    match value:
        case {"frame": columns}:
            return pl.DataFrame([_series(*column) for column in columns])
        case {"amount": str(text)} if len(value) == 1:
            return Decimal(text)
        case {"day": str(text)} if len(value) == 1:
            return date.fromisoformat(text)
        case {"kind": str(name), "fields": dict(parts)}:
            return _made(kinds[name], {key: _deserialised(part, kinds) for key, part in parts.items()})
        case dict():
            return {name: _deserialised(part, kinds) for name, part in value.items()}
        case list():
            return tuple(_deserialised(part, kinds) for part in value)
        case _:
            return value


def _series(name: str, kind: str, values: list[Any]) -> pl.Series:
    frozen = pl.Series(OLDER_NAMES.get(name, name), values, pl.String if kind in _AS_TEXT else _TYPES[kind])
    return frozen.str.to_date() if kind == "day" else frozen.cast(_TYPES[kind])


def _made(kind: type, parts: Mapping[str, Any]) -> Any:
    known = {part.name: part for part in fields(kind)}
    for name, part in known.items():
        if name not in parts and part.default is MISSING and part.default_factory is MISSING:
            raise AppraisalError(f"the frozen evidence lacks {kind.__name__}.{name}")
    return kind(**{name: part for name, part in parts.items() if name in known})
