"""Small documents that people write: TOML and JSON, read whole within limits of size, depth and digits.

Out of the reading process they come as JSON; what JSON has no words for is said by its type.
"""

import json
import tomllib
from collections.abc import Iterator
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from pricing.errors import FileError
from pricing.untrusted.door import read_untrusted
from pricing.untrusted.files import bounded_bytes
from pricing.untrusted.limits import Limits

LARGEST: Final = 5_000_000
"""Bytes of a document."""

DEEPEST: Final = 50
"""Tables and lists within one another."""

LONGEST_NUMBER: Final = 300
"""Digits of a number that is read as one."""

_TYPES: Final = (datetime, date, time)  # a datetime is a date too, and is asked first


def read_toml(path: Path, *, most: int = LARGEST, decimals: bool = False) -> dict[str, Any]:
    """The content of a TOML file; numbers with a point as ``Decimal`` where ``decimals`` are asked for.
    Raises ``FileError`` where it cannot be read, is no regular file, no UTF-8 text or no TOML."""
    return _document(path, "toml", most, decimals)


def read_json(path: Path, *, most: int = LARGEST) -> Any:
    """The content of a JSON file; raises as ``read_toml`` does."""
    return _document(path, "json", most, decimals=False)


def whole_number(digits: str) -> int | str:
    """A whole number, or its digits where it has more of them than any number that is meant.

    >>> whole_number("42"), len(whole_number("9" * 5000))
    (42, 5000)
    """
    return int(digits) if len(digits) <= LONGEST_NUMBER else digits


def whole_text(text: str) -> str:
    """A text without halves of characters, which JSON can write and nothing else can hold.

    >>> whole_text("Corvane \\ud800")
    'Corvane \ufffd'
    """
    return text if text.isascii() else text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def document(
    name: str, limits: Limits, *, kind: str, most: int, decimals: bool
) -> Iterator[tuple[Any, None]]:
    """The reader that ``read_toml`` and ``read_json`` have run in the reading process."""
    path = Path(name)
    try:
        text = bounded_bytes(path, most).decode("utf-8-sig")
        content: Any = (
            json.loads(text, parse_int=whole_number)
            if kind == "json"
            else tomllib.loads(text, parse_float=Decimal if decimals else float)
        )
    except UnicodeDecodeError as error:
        raise FileError(f"{path} cannot be read: it is not UTF-8 text, at byte {error.start}") from None
    except (ValueError, RecursionError) as error:
        why = "it is nested too deeply" if isinstance(error, RecursionError) else error
        raise FileError(f"{path} cannot be read as {kind.upper()}: {why}") from None
    if _deeper(content, DEEPEST):
        raise FileError(f"{path} cannot be read as {kind.upper()}: it is nested deeper than {DEEPEST}")
    yield _sayable(content), None


def _document(path: Path, kind: str, most: int, decimals: bool) -> Any:
    (answer,) = read_untrusted(document, path, kind=kind, most=most, decimals=decimals)
    return _meant(answer.facts)


def _deeper(content: Any, depth: int) -> bool:
    inner = content.values() if isinstance(content, dict) else content if isinstance(content, list) else ()
    return depth == 0 or any(_deeper(item, depth - 1) for item in inner if isinstance(item, dict | list))


def _sayable(content: Any) -> Any:
    """Content as JSON can say it: tables as pairs, and what it has no words for by its type."""
    if isinstance(content, dict):
        return {"": [[whole_text(key), _sayable(item)] for key, item in content.items()]}
    if isinstance(content, list):
        return [_sayable(item) for item in content]
    if isinstance(content, str):
        return whole_text(content)
    if isinstance(content, Decimal):
        return {"Decimal": str(content)}
    for kind in _TYPES:
        if isinstance(content, kind):
            return {kind.__name__: content.isoformat()}
    return content


def _meant(stated: Any) -> Any:
    """The inverse of ``_sayable``."""
    if isinstance(stated, list):
        return [_meant(item) for item in stated]
    if not isinstance(stated, dict):
        return stated
    ((kind, value),) = stated.items()
    if kind == "":
        return {key: _meant(item) for key, item in value}
    if kind == "Decimal":
        return Decimal(value)
    return next(each for each in _TYPES if each.__name__ == kind).fromisoformat(value)
