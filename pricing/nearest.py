"""Words that were mistyped: the likest of those that there are, the same way wherever one is refused."""

import unicodedata
from collections.abc import Iterable
from typing import Final

from rapidfuzz import fuzz, process

NEAR: Final = 60.0
"""Likeness (0-100, share of letters that need no change) from which a name or word is suggested."""


def folded(name: str) -> str:
    """A name without what capitals, accents and spaces make different.

    >>> folded("  Éclair  GT ")
    'eclair gt'
    """
    if name.isascii():
        return " ".join(name.casefold().split())
    letters = unicodedata.normalize("NFKD", name.casefold())
    return " ".join("".join(part for part in letters if not unicodedata.combining(part)).split())


def nearest(wanted: str, known: Iterable[str]) -> list[str]:
    """The likest of what is known, at most three.

    >>> nearest("corvain", ["Wexcombe", "Corvane"])
    ['Corvane']
    """
    by_name = {name: folded(name) for name in known}
    close = process.extract(folded(wanted), by_name, scorer=fuzz.ratio, limit=3, score_cutoff=NEAR)
    return [name for _, _, name in close]


def did_you_mean(wanted: str, known: Iterable[str]) -> str:
    """What follows a word that is refused: a question that names the likest ones, or nothing.

    >>> "no column 'yaer'" + did_you_mean("yaer", ["year", "make"])
    "no column 'yaer'; did you mean year?"
    """
    near = nearest(wanted, known)
    return f"; did you mean {' or '.join(near)}?" if near else ""
