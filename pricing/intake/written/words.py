"""Words of the closed lists as people say them, in seven languages; yes and no; what says that nothing is
known; and the words in place of a price, or behind one."""

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

import polars as pl
import pycountry
from babel.core import Locale

from pricing.intake.written.dates import LANGUAGES

WORD_COLUMNS: Final = (
    "condition_band", "outcome", "channel", "price_basis", "drive_side", "matching_numbers", "country"
)  # fmt: skip

_NO: Final = re.compile(
    r"\b(?:not?|never|needs?|except|but|nicht|kein\w*|außer|pas|sans|sauf|non|senza|sin|niet|geen|zonder"
    r"|inte|ej|utan)\b"
)
"""A free text that holds one of these may say the contrary of its other words."""
_CONDITION: Final = re.compile(
    r"(?i)^(?:in |condition:? |zustand:? |état:? |stato:? |estado:? |staat:? |skick:? )"
    r"|[ ,]+(?:condition|order|zustand|condizioni|condiciones|conditie|skick)$"
)

_BESIDE: Final = re.compile(
    r"(.*\d[^\s,;(+&]*(?:\s(?:[£€$]|kr\.?|euros?|pounds|kronor|(?-i:[A-Z]{3})))?)(?:\s*[,;(]\s*|\s*(?=[+&])|\s+)"
    r"((?:[+&]\s*|(?:plus|with|and|incl?\.?|including|mit|samt|inkl\.?|und|avec|et|compris|con|e|y|met|en|med"
    r"|och)\s+)"
    r"(?:(?:some|a few|an?|eine[nr]?|une?|een|box(?:es)? of|lots? of|many|all|the|old|spare)\s+)*"
    r"(?:spares|spare parts|parts|tools|handbooks?|manuals?|papers|history|hard ?top|tow ?bar|tonneau"
    r"|ersatzteilen?|teilen?|werkzeug|papieren?|pièces(?: détachées)?|outils|ricambi|attrezzi|recambios"
    r"|piezas|herramientas|onderdelen|gereedschap|reservdelar|delar|verktyg)"
    r"|(?:to|an|à|a|aan|till)\s+(?:an?|the|ein\w*|une?|een|en)?\s*"
    r"(?:friend|member|neighbour|trade|dealer|trader|mitglied|freund|händler|ami|membre|marchand|amico|socio"
    r"|amigo|lid|vriend|handelaar|medlem|vän|handlare)"
    r"|(?:as (?:seen|is|found)|on the day|in the end|eventually|agreed|(?:buyer )?collects))\)?",
    re.IGNORECASE,
)
"""An amount and behind it what does not change it: what went with the car, who took it, how it was settled.
Anything else behind an amount, such as a car in part exchange, may change it; common practice, no source."""


@cache
def known_words() -> dict[str, dict[str, str]]:
    """Words that are generally understood, by column: theirs, in lower case = ours (``words.toml``); lands
    by their names in the Unicode CLDR and their codes.

    >>> known_words()["condition_band"]["scheunenfund"], known_words()["country"]["frankreich"]
    ('project', 'FR')
    """
    words = {
        column: {word: ours for ours, theirs in _table()[column].items() for word in theirs}
        for column in WORD_COLUMNS
    }
    three, english, own = (
        {getattr(country, name).lower(): country.alpha_2 for country in pycountry.countries}
        for name in ("alpha_3", "name", "alpha_2")
    )
    named = {
        name.lower(): code
        for language in reversed(LANGUAGES)
        for code, name in Locale(language).territories.items()
        if code in own.values()
    }
    words["country"] = {**three, **named, **english, **words["country"], **own}
    return words


@cache
def free_words(column: str) -> dict[str, str]:
    """Of the known words those that mean the same within a longer text: ``good`` may be said of the engine
    alone."""
    return {
        word: ours
        for word, ours in known_words()[column].items()
        if len(word) > 3 and (" " in word or ours == "project" or word == "concours")
    }


@cache
def yes_and_no() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Words for yes, and for no, in lower case."""
    words = _table()["yes_no"]
    return tuple(words["yes"]), tuple(words["no"])


@cache
def not_known() -> frozenset[str]:
    """What people write where they do not know, in lower case."""
    return frozenset(_table()["not_known"]["words"])


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(files("pricing.intake").joinpath("words.toml").read_text(encoding="utf-8"))


def condition_text(cell: pl.Expr, own: Mapping[str, str]) -> pl.Expr:
    """The condition band that a cell says, in one of the known words or in ``own``, whole or within a text.

    >>> cells = ["good condition", "excellent chassis", "A dry barn find", "état moyen"]
    >>> typed = pl.DataFrame({"cell": cells})
    >>> typed.select(condition_text(pl.col("cell"), {})).to_series().to_list()
    ['average', 'excellent chassis', 'project', 'average']
    """
    words = {**known_words()["condition_band"], **own}
    within = {**free_words("condition_band"), **own}
    bare = cell.str.replace(_CONDITION.pattern, "")
    bands = word_text(bare, words)
    return pl.when(bands != bare).then(bands).otherwise(phrase_text(cell, words, within))


def word_text(cell: pl.Expr, words: Mapping[str, str]) -> pl.Expr:
    """The closed-list word for what people call it; ``words`` has theirs in lower case.

    >>> typed = pl.DataFrame({"cell": ["Barn find", "average", "?"]})
    >>> table = {"barn find": "project", "average": "average"}
    >>> typed.select(word_text(pl.col("cell"), table)).to_series().to_list()
    ['project', 'average', '?']
    """
    plain = cell.str.strip_chars(" \t\n.!,;:").str.to_lowercase().str.replace_all(r"\s+", " ")
    meanings = plain.replace_strict(words, default=None, return_dtype=pl.String)
    return pl.coalesce(meanings, cell)


def phrase_text(cell: pl.Expr, words: Mapping[str, str], free: Mapping[str, str] | None = None) -> pl.Expr:
    """The word for the phrases that a free text contains, if all of them mean the same one and nothing in it
    may deny them; ``free`` has the phrases that may stand within a text, all by default.

    >>> typed = pl.DataFrame({"cell": ["A barn find, dry", "barn find but usable", "no barn find", "nice"]})
    >>> table = {"barn find": "project", "usable": "average"}
    >>> typed.select(phrase_text(pl.col("cell"), table)).to_series().to_list()
    ['project', 'barn find but usable', 'no barn find', 'nice']
    """
    within = words if free is None else free
    whole = word_text(cell, words)
    if not within:
        return whole
    longest_first = sorted(within, key=lambda phrase: (-len(phrase), phrase))
    plain = cell.str.to_lowercase().str.replace_all(r"\s+", " ")
    pattern = r"\b(?:" + "|".join(pl.escape_regex(phrase) for phrase in longest_first) + r")\b"
    meant = plain.str.extract_all(pattern).list.eval(
        pl.element().replace_strict(within, default=None, return_dtype=pl.String)
    )
    denied = plain.str.replace_all(pattern, "").str.contains(_NO.pattern)
    agreed = (meant.list.n_unique() == 1) & ~denied & (whole == cell)
    return pl.when(agreed).then(meant.list.first()).otherwise(whole)


def without_words(text: str) -> str | None:
    """The amount of a text without the words behind it that do not change it; None where there are none.

    >>> without_words("£9k plus spares"), without_words("£9k + old car"), without_words("£400 parts")
    ('£9k', None, None)
    """
    match = _BESIDE.fullmatch(text)
    return None if match is None else match[1]


def outcome_in_its_place(text: str) -> str | None:
    """The outcome that a text in place of a price says; a bare yes or no says none.

    >>> outcome_in_its_place("Withdrawn"), outcome_in_its_place("N/S"), outcome_in_its_place("no")
    ('withdrawn', 'unsold', None)
    """
    return _in_place().get(text.lower().strip(" .!-()"))


@cache
def _in_place() -> dict[str, str]:
    bare = {word for words in yes_and_no() for word in words}
    return {
        word: ours
        for word, ours in known_words()["outcome"].items()
        if ours in ("unsold", "withdrawn") and word not in bare
    }
