"""Written documents as PDF: archival (PDF/A-2a) and accessible (PDF/UA-1), laid out by typst.

Texts go in as data, never as markup. What no typeface at hand can show stands as its code point, so that
nothing vanishes unseen.
"""

import json
import re
import tempfile
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files as package_files
from pathlib import Path
from typing import Any, Final

import typst

from pricing.errors import AppraisalError
from pricing.progress import Progress, untold
from pricing.reports.formats.blocks import (
    AnswerList,
    Block,
    Pages,
    Photographs,
    Plate,
    Statement,
    Table,
)
from pricing.reports.formats.pictures import svg
from pricing.words.language.locale import ems, shown

PAPERS: Final = {"a4": "a4", "letter": "us-letter"}
"""Papers by our names and typst's."""

STANDARDS: Final[list[Any]] = ["a-2a", "ua-1"]

TEXT_WIDTH: Final = 470.0
"""Points between the margins of the narrower paper."""

WIDE_TEXT: Final = 660.0
"""The same of a page laid across."""

TEXT_SIZE: Final = 10.5
CELL_SIZE: Final = 9.2
SMALL_CELL_SIZE: Final = 8.0
WIDE_CELL_SIZE: Final = 7.2
"""Points of the type in running text, in tables and in large tables, as the template sets them."""

_VOWELS: Final = re.compile("[aeiouy\u00e0-\u00ff]", re.IGNORECASE)
_SYLLABLED: Final = range(13, 41)
"""Letters of a word that the typesetter parts by the rules of its language, as the template asks for."""

_PADDING: Final = 7.0
_LARGE_TABLE: Final = (5, 40)
"""Columns and rows beyond which a table is large."""

_PLAIN: Final = re.compile(r"[\u0000-\u024f\u2010-\u2027\u2030-\u205e\u20ac\u2212\u200b]*")
"""Letters that the typeface of the documents certainly has."""


def pdf(pages: Pages, paper: str = "a4", made_on: date | None = None, progress: Progress = untold) -> bytes:
    """A document as PDF; ``made_on`` is the day it is stamped with: the same pages then give the same bytes.
    ``progress`` is called with a step, how many pictures are drawn and how many there are.

    Raises:
        AppraisalError: there is no such paper, or the pages cannot be laid out.
    """
    stamp = None if made_on is None else datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC)
    return bytes(_laid_out(pages, paper, progress, typst.compile, pdf_standards=STANDARDS, timestamp=stamp))


def page_pictures(pages: Pages, paper: str = "a4", dots: float = 60.0) -> list[bytes]:
    """Every page of a document as PNG, to be looked at; ``dots`` to the inch.

    Raises:
        AppraisalError: there is no such paper, or the pages cannot be laid out.
    """
    drawn = _laid_out(pages, paper, untold, typst.compile, format="png", ppi=dots)
    return list(drawn) if isinstance(drawn, list) else [drawn]


def pages_of_parts(pages: Pages, paper: str = "a4") -> list[int]:
    """On which page each part of a document begins, as the PDF lays it out.

    Raises:
        AppraisalError: there is no such paper, or the pages cannot be laid out.
    """
    numbers = _laid_out(pages, paper, untold, typst.query, selector="<part>", field="value")
    return [int(page) for page in json.loads(numbers)]


def _laid_out(pages: Pages, paper: str, progress: Progress, ask: Callable[..., Any], **how: Any) -> Any:
    """What typst answers of a document; photographs are no texts, and come in as files."""
    files = {name: f"/{place}.jpg" for place, name in enumerate(pages.photographs)}
    content = _content(pages, paper, progress, files)
    try:
        with tempfile.TemporaryDirectory() as root:
            folder, laid_out = Path(root), Path(root, "pages.typ")
            laid_out.write_bytes(_template())
            for name, file in files.items():
                Path(root, file[1:]).write_bytes(pages.photographs[name])
            return ask(laid_out, root=folder, sys_inputs=content, **how)
    except typst.TypstError as error:
        raise AppraisalError(f"the pages cannot be laid out: {error.message}") from None


def _content(pages: Pages, paper: str, progress: Progress, files: dict[str, str]) -> dict[str, str]:
    """A document and its paper as the template reads them."""
    if paper not in PAPERS:
        raise AppraisalError(f"no paper {paper!r}; expected one of: {', '.join(PAPERS)}")
    names = ("title", "subject", "mark", "reference", "language", "labels", "author", "contents")
    content = {name: getattr(pages, name) for name in names}
    content["cover"] = None if pages.cover is None else asdict(replace(pages.cover, photograph=None))
    blocks = [_settable_block(block, files) for block in pages.blocks]
    drawn = {}
    for done, (name, picture) in enumerate(pages.pictures.items(), start=1):
        drawn[name] = _displayed(svg(picture))
        progress("draw", done, len(pages.pictures))
    document = settable(content, TEXT_WIDTH / 2, TEXT_SIZE) | {"blocks": blocks, "pictures": drawn}
    if pages.cover is not None and pages.cover.photograph is not None:
        document["cover"]["photograph"] = _settable_photograph(pages.cover.photograph, files)
    return {"pages": json.dumps(document), "paper": PAPERS[paper]}


def _settable_photograph(shot: Plate, files: dict[str, str]) -> dict[str, Any]:
    texts = asdict(shot) | {"name": ""}
    return dict(settable(texts, TEXT_WIDTH / 2, TEXT_SIZE)) | {"file": files[shot.name]}


def _settable_block(block: Block, files: dict[str, str]) -> dict[str, Any]:
    """A block as the template reads it: its fields, what it ``is``, and every text fit for its place."""
    if isinstance(block, Photographs):
        return {"is": "photographs", "items": [_settable_photograph(item, files) for item in block.items]}
    fields = {"is": type(block).__name__.lower(), **asdict(block)}
    if not isinstance(block, Table):
        share, size = 0.9, TEXT_SIZE * (2 if isinstance(block, Statement) else 1)
        if isinstance(block, AnswerList):
            fields["widths"] = block.widths
            share = block.widths[1] / sum(block.widths)
        return dict(settable(fields, TEXT_WIDTH * share, size))
    large = len(block.columns) > _LARGE_TABLE[0] or len(block.rows) > _LARGE_TABLE[1]
    fields["size"] = WIDE_CELL_SIZE if block.wide else SMALL_CELL_SIZE if large else CELL_SIZE
    total = sum(column.width for column in block.columns)
    across = WIDE_TEXT if block.wide else TEXT_WIDTH
    widths = [across * column.width / total - _PADDING for column in block.columns]
    fields["rows"] = [
        [settable(cell, width, fields["size"]) for cell, width in zip(row, widths, strict=True)]
        for row in block.rows
    ]
    for name in ("caption", "note"):
        fields[name] = settable(fields[name], TEXT_WIDTH, TEXT_SIZE)
    return fields


@cache
def _template() -> bytes:
    return package_files("pricing.reports").joinpath("templates/appraisal.typ").read_bytes()


def settable(value: Any, width: float, size: float) -> Any:
    """Texts as they can be set: nothing acts unseen, every letter has a shape, and a word that is longer than
    its line of ``width`` points may be broken."""
    if isinstance(value, str):
        return _breakable(_displayed(shown(value)), width / size)
    if isinstance(value, dict):
        return {name: settable(part, width, size) for name, part in value.items()}
    return [settable(part, width, size) for part in value] if isinstance(value, list | tuple) else value


def _breakable(text: str, width: float) -> str:
    """The text with a place to break in every word that is wider than so many ems.

    >>> _breakable("short " + "x" * 10, 4.0).count("\u200b")
    1
    """
    if len(text) <= width / 1.1:
        return text
    return re.sub(r"\S+", lambda word: _pieces(word.group(), width), text)


def _pieces(word: str, width: float) -> str:
    if ems(word) <= width or _syllabled(word):
        return word
    pieces, taken = [""], 0.0
    for letter in word:
        wide = ems(letter)
        if taken + wide > width:
            pieces.append("")
            taken = 0.0
        pieces[-1] += letter
        taken += wide
    return "\u200b".join(pieces)


def _syllabled(word: str) -> bool:
    """Whether a long word can be parted by syllables; what has none, however like a word, is cut.

    >>> _syllabled("Vergleichsverkauf,"), _syllabled("W" * 30)
    (True, False)
    """
    bare = word.strip("()[]\u201c\u201d\u201e\"',;:.")
    return bare.isalpha() and len(bare) in _SYLLABLED and max(map(len, _VOWELS.split(bare))) <= 7


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
