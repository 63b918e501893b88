"""What people's headings may mean: the columns of ours, each with how like its known names the heading is."""

import re
import tomllib
import unicodedata
from functools import cache
from importlib.resources import files
from typing import Final

import polars as pl
from rapidfuzz import fuzz, process

from pricing.intake.written.money import currency_named

CAR: Final = "car"
"""A whole car in one cell: no column of ours, but several."""

NEAR: Final = 86.0
"""Likeness (0-100) from which a heading is taken for a near spelling of a known one."""

_BRACKETS: Final = re.compile(r"[(\[{].*?[)\]}]")
_UNITS: Final = re.compile(r"\b(?:in|en|eur|gbp|usd|chf|sek|euro|pounds?|sterling|kr|incl?|inkl|ca|approx)\b")
_COUNTED: Final = re.compile(r"(?:^|\s)(?:no|nr|num|number|nummer|numero|nummero|id)$")
_CURRENCY: Final = re.compile(r"[£€¥]|\b(?:[A-Z]{3}|[Ee]uros?|[Pp]ounds|[Ss]terling|[Ff]ranken|[Kk]ronor)\b")


def plain(heading: str) -> str:
    """A heading in lower case without accents and punctuation.

    >>> plain("N° de châssis"), plain("Est. (£)")
    ('n de chassis', 'est')
    """
    bare = "".join(
        letter
        for letter in unicodedata.normalize("NFKD", heading.casefold())
        if not unicodedata.combining(letter)
    )
    return " ".join(re.sub(r"[\W_]+", " ", bare).split())


def plain_names(frame: pl.DataFrame) -> pl.DataFrame:
    """A frame none of whose names is taken for a pattern of names (``*``, ``^...$``) or ends at a zero byte.

    >>> plain_names(pl.DataFrame({"*": [1], "^make$": [2], "a\\x00b": [3], "year": [4]})).columns
    ['(*)', '(^make$)', 'a�b', 'year']
    """
    told = {name: plain_name(name) for name in frame.columns if name != plain_name(name)}
    taken = set(frame.columns)
    for name, other in told.items():
        while other in taken:
            other += "_"
        told[name] = other
        taken.add(other)
    return frame.rename(told)


def plain_name(name: str) -> str:
    """One name as ``plain_names`` has it."""
    name = name.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return f"({name})" if name == "*" or (name[:1] == "^" and name[-1:] == "$") else name


def meanings(heading: str) -> dict[str, float]:
    """The columns of ours that a heading may mean, with a likeness up to 1.

    >>> meanings("Prix de vente (€)")["amount"], "make" in meanings("Marqe"), meanings("Colour")
    (1.0, True, {})
    """
    by_column: dict[str, float] = {}
    whole = plain(heading)
    bare = " ".join(_UNITS.sub(" ", plain(_BRACKETS.sub(" ", heading))).split())
    for text, worth in ((whole, 1.0), (bare, 0.97)):
        for ours in _known().get(text, ()):
            by_column[ours] = max(by_column.get(ours, 0.0), worth)
    if by_column or len(bare) < 3:
        return by_column
    for name, likeness, _ in process.extract(
        bare, list(_known()), scorer=fuzz.ratio, score_cutoff=NEAR, limit=5
    ):
        if len(name) > 3:
            for ours in _known()[name]:
                by_column[ours] = max(by_column.get(ours, 0.0), round(0.0095 * likeness, 3))
    if not by_column and _COUNTED.search(whole):
        by_column["source_ref"] = 0.8
    words = f" {bare} "
    for name, all_ours in _known().items():
        if len(name) > 4 and f" {name} " in words:
            for ours in all_ours:
                by_column[ours] = max(by_column.get(ours, 0.0), 0.6 + min(0.2, len(name) / 100))
    return by_column


def currency_of(heading: str) -> str | None:
    """The one currency that a heading names.

    >>> currency_of("Hammer price (£)"), currency_of("Preis in EUR"), currency_of("VIN")
    ('GBP', 'EUR', None)
    """
    named = {currency_named(text) for text in _CURRENCY.findall(heading)} - {None}
    return named.pop() if len(named) == 1 else None


@cache
def _known() -> dict[str, tuple[str, ...]]:
    """Known headings, plain, and the columns of ours each may mean."""
    table = tomllib.loads(files("pricing.intake").joinpath("headers.toml").read_text(encoding="utf-8"))
    known: dict[str, tuple[str, ...]] = {}
    for ours, headings in table.items():
        for heading in [ours.replace("_", " "), *headings]:
            known[plain(heading)] = (*known.get(plain(heading), ()), ours)
    return known
