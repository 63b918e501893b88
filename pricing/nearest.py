"""Words that were mistyped: the likest of those that there are, the same way wherever one is refused."""

import unicodedata
from collections.abc import Iterable, Mapping
from typing import Final

from rapidfuzz import fuzz, process

NEAR: Final = 60.0
"""Likeness (0-100, share of letters that need no change) from which a name or word is suggested."""


ALIKE: Final = 84.0
"""Likeness from which two names on record may be one."""

FAR_MORE: Final = 10
"""How many times as many records a name has that another is then likely a slip of."""


def folded(name: str) -> str:
    """A name without what capitals, accents, spaces and characters that show nothing make different.

    >>> folded("  Éclair  GT "), folded("\\u202eÉcl\\u200bair GT")
    ('eclair gt', 'eclair gt')
    """
    if name.isascii() and name.isprintable():
        return " ".join(name.casefold().split())
    letters = unicodedata.normalize("NFKD", " ".join(name.casefold().split()))
    unseen = (part for part in letters if unicodedata.combining(part) or unicodedata.category(part)[0] == "C")
    return " ".join(letters.translate(dict.fromkeys(map(ord, unseen))).split())


def nearest(wanted: str, known: Iterable[str], most: int = 3) -> list[str]:
    """The likest of what is known, at most so many.

    >>> nearest("corvain", ["Wexcombe", "Corvane"])
    ['Corvane']
    """
    by_name = {name: folded(name) for name in known}
    close = process.extract(folded(wanted), by_name, scorer=fuzz.ratio, limit=most, score_cutoff=NEAR)
    return [name for _, _, name in close]


def without_slips(names: Iterable[str], counts: Mapping[str, int]) -> list[str]:
    """Names without those that are likely slips of one that far more records have; ``counts``: records of
    each name there is.

    >>> counts = {"Corvaine": 1, "Corvane": 40, "Sedge 1500": 1, "Sedge 1600": 40}
    >>> without_slips(counts, counts)
    ['Corvane', 'Sedge 1500', 'Sedge 1600']
    """

    def is_slip(name: str) -> bool:
        common = [folded(other) for other, count in counts.items() if count >= FAR_MORE * counts[name]]
        close = process.extract(folded(name), common, scorer=fuzz.ratio, limit=3, score_cutoff=ALIKE)
        return any(other != folded(name) and figures(other) == figures(name) for other, _, _ in close)

    return [name for name in names if not is_slip(name)]


def figures(name: str) -> str:
    """The figures in a name: 1500 and 1600 are two models however alike they look."""
    return "".join(letter for letter in name if letter.isdigit())


def did_you_mean(wanted: str, known: Iterable[str]) -> str:
    """What follows a word that is refused: a question that names the likest ones, or nothing.

    >>> "no column 'yaer'" + did_you_mean("yaer", ["year", "make"])
    "no column 'yaer'; did you mean year?"
    """
    near = nearest(wanted, known)
    return f"; did you mean {' or '.join(near)}?" if near else ""
