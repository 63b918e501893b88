"""Lines of TOML, for every file of it that the tool writes and a person then edits."""

from decimal import Decimal
from typing import Any

import tomlkit
from tomlkit.exceptions import ConvertError
from tomlkit.items import Float, Trivia


def toml_line(name: str, value: Any) -> str:
    """``name = value``: text, a number, a truth, a date, or a list of such.

    Raises:
        ValueError: TOML has no such value.

    >>> toml_line("make", 'A "B"'), toml_line("two words", [Decimal("0.10"), True])
    ('make = "A \\\\"B\\\\""\\n', '"two words" = [0.10, true]\\n')
    """
    if isinstance(value, str) and "\n" in value and "\r" not in value:
        value = tomlkit.string(value, multiline=True)
    return tomlkit.dumps({name: value})


@tomlkit.register_encoder
def _decimal(value: Any) -> Float:
    if isinstance(value, Decimal):
        return Float(float(value), Trivia(), str(value))
    raise ConvertError(f"TOML has no {type(value).__name__}")
