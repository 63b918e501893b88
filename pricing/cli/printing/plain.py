"""Text on a terminal that cannot steer it."""

import re
from typing import Final


def plain_lines(text: str) -> str:
    r"""The same of text that may have several lines.

    >>> plain_lines("one\x1b[2J\ntwo")
    'one�[2J\ntwo'
    """
    return "\n".join(map(plain_cell, text.split("\n")))


def plain_cell(cell: object) -> str:
    """Text without what would steer a terminal."""
    if cell is None:
        return ""
    text = ", ".join(map(str, cell)) if isinstance(cell, list) else str(cell)
    return _STEERING.sub("\N{REPLACEMENT CHARACTER}", text)


_STEERING: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Control characters (C0, C1), line separators, and what turns the direction of text (UAX #9)."""
