"""Written documents as PDF: archival (PDF/A-2a) and accessible (PDF/UA-1), laid out by typst.

Texts go in as data, never as markup. What no typeface at hand can show stands as its code point, so that
nothing vanishes unseen.
"""

import json
import re
from dataclasses import asdict
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files
from typing import Any, Final

import typst

from pricing.documents.appraisal_blocks import Block, Pages
from pricing.documents.appraisal_pictures import svg
from pricing.documents.locale_words import shown
from pricing.errors import AppraisalError

PAPERS: Final = {"a4": "a4", "letter": "us-letter"}
"""Papers by our names and typst's."""

STANDARDS: Final[list[Any]] = ["a-2a", "ua-1"]

LONGEST_WORD: Final = 24
"""Letters after which a word may be broken anywhere: a longer one is no word of a language."""

_PLAIN: Final = re.compile(r"[\u0000-\u024f\u2010-\u2027\u2030-\u205e\u20ac\u2212\u200b]*")
"""Letters that the typeface of the documents certainly has."""


def pdf(pages: Pages, paper: str = "a4", made_on: date | None = None) -> bytes:
    """A document as PDF; ``made_on`` is the day it is stamped with: the same pages then give the same bytes.

    Raises:
        AppraisalError: there is no such paper, or the pages cannot be laid out.
    """
    if paper not in PAPERS:
        raise AppraisalError(f"no paper {paper!r}; expected one of: {', '.join(PAPERS)}")
    content = {
        "title": pages.title, "subject": pages.subject, "mark": pages.mark, "reference": pages.reference,
        "language": pages.language, "author": pages.author, "contents": pages.contents,
        "cover": None if pages.cover is None else asdict(pages.cover),
        "blocks": [plain_block(block) for block in pages.blocks],
    }  # fmt: skip
    drawn = {name: svg(picture) for name, picture in pages.pictures.items()}
    text = json.dumps(_settable(content) | {"pictures": _displayed(drawn)})
    stamp = None if made_on is None else datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC)
    try:
        return typst.compile(
            _template(), sys_inputs={"pages": text, "paper": PAPERS[paper]}, pdf_standards=STANDARDS,
            timestamp=stamp,
        )  # fmt: skip
    except typst.TypstError as error:
        raise AppraisalError(f"the pages cannot be laid out: {error.message}") from None


def plain_block(block: Block) -> dict[str, Any]:
    """A block as the template reads it: its fields, and what it ``is``."""
    return {"is": type(block).__name__.lower(), **asdict(block)}


@cache
def _template() -> bytes:
    return files("pricing.documents").joinpath("templates/appraisal.typ").read_bytes()


def _settable(value: Any) -> Any:
    """Texts as they can be set: nothing acts unseen, every letter has a shape, long words may be broken."""
    if isinstance(value, str):
        return _breakable(_displayed(shown(value)))
    if isinstance(value, dict):
        return {name: _settable(part) for name, part in value.items()}
    return [_settable(part) for part in value] if isinstance(value, list | tuple) else value


def _breakable(text: str) -> str:
    if len(text) <= LONGEST_WORD:
        return text
    return re.sub(rf"\S{{{LONGEST_WORD}}}(?=\S)", lambda found: found.group() + "\u200b", text)


def _displayed(value: Any) -> Any:
    """Text, or texts by name, with code points in place of letters that no typeface at hand has."""
    if isinstance(value, dict):
        return {name: _displayed(part) for name, part in value.items()}
    if _PLAIN.fullmatch(value):
        return value
    return "".join(letter if _has_shape(letter) else f"[U+{ord(letter):04X}]" for letter in value)


@cache
def _has_shape(letter: str) -> bool:
    """Whether some typeface at hand shows a letter, found by setting it."""
    if _PLAIN.fullmatch(letter):
        return True
    probe = b'#set document(title: "-")\n#set text(font: "Libertinus Serif")\n#sys.inputs.letter'
    try:
        typst.compile(probe, sys_inputs={"letter": letter}, pdf_standards=STANDARDS)
    except typst.TypstError:
        return False
    return True
