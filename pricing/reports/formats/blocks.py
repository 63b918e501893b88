"""The blocks that the written documents are made of: plain words in an order, without any layout.

Word processor file and PDF are both written from the same blocks, so they say the same to the last digit.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 begins a part."""

    text: str
    level: int = 1


@dataclass(frozen=True)
class Paragraph:
    """Running text; a line break in it begins a paragraph. ``manner``: body, lead, small or caution."""

    text: str
    manner: str = "body"


@dataclass(frozen=True)
class Bullets:
    """A list, an item a line."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class AnswerList:
    """What was asked and answered: rows of two cells, the first of them the row's header."""

    rows: tuple[tuple[str, str], ...]
    caption: str = ""

    @property
    def widths(self) -> tuple[float, float]:
        """How wide what was asked and what was answered stand beside each other."""
        return (2.0, 1.0) if max((len(question) for question, _ in self.rows), default=0) > 60 else (1.0, 2.6)


@dataclass(frozen=True)
class Column:
    """A column of a table: its header, its width beside the others, and whether it holds numbers."""

    header: str
    width: float = 1.0
    numbers: bool = False


@dataclass(frozen=True)
class Table:
    """A table with a header row; ``strong`` are the places of the rows that sum up or stand out, ``wide``
    sets it small over the width of pages laid across."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    strong: tuple[int, ...] = ()
    note: str = ""
    wide: bool = False


Field = tuple[Column, Callable[[Any], str]]
"""A column of a table, and how a row becomes its cell."""


def text(header: str, width: float, cell: Callable[[Any], str]) -> Field:
    """A column of texts."""
    return Column(header, width), cell


def number(header: str, width: float, cell: Callable[[Any], str]) -> Field:
    """A column of numbers."""
    return Column(header, width, True), cell


def table(caption: str, rows: Iterable[Any], *fields: Field, **layout: Any) -> Table:
    """A table of rows of any kind, a field a column; ``layout`` is what else a ``Table`` has.

    >>> table("Sales", [2, 3], number("Count", 1, str)).rows
    (('2',), ('3',))
    """
    cells = tuple(tuple(cell(row) for _, cell in fields) for row in rows)
    return Table(caption, tuple(column for column, _ in fields), cells, **layout)


def answered(rows: Iterable[tuple[str, str]], caption: str = "") -> AnswerList:
    """Those of the rows that have an answer."""
    return AnswerList(tuple(row for row in rows if row[1]), caption)


@dataclass(frozen=True)
class Figure:
    """A picture by name, with its caption and what it shows in words."""

    name: str
    caption: str
    alt: str


@dataclass(frozen=True)
class Statement:
    """A statement set apart: the figure itself with its ``terms``, or a warning that must not be overlooked
    (``manner``: figure or warning)."""

    title: str
    text: str
    terms: str = ""
    manner: str = "figure"


@dataclass(frozen=True)
class Blanks:
    """Empty fields, each a label and a line to be filled in by hand."""

    labels: tuple[str, ...]


@dataclass(frozen=True)
class NewPage:
    """What follows begins on a new page; with ``across`` on pages laid across, up to the next ``NewPage``;
    ``whole`` begins one only where what follows, up to the next, would not stand on this one whole."""

    across: bool = False
    whole: bool = False


@dataclass(frozen=True)
class Plate:
    """A photograph on a page: its name among those of the document, the words under it, what it shows in
    words, and lines that stand beside it (what of, and what is said)."""

    name: str
    caption: str
    alt: str
    beside: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Photographs:
    """Photographs in their order: two in a row, or one with the lines that stand beside it."""

    items: tuple[Plate, ...]


Block = (
    Heading | Paragraph | Bullets | AnswerList | Table | Figure | Statement | Blanks | NewPage | Photographs
)


def headed(title: str, text: str) -> list[Block]:
    """A text below its heading; nothing where there is none."""
    return [Heading(title, 2), Paragraph(text)] if text else []


@dataclass(frozen=True)
class Cover:
    """The first page of a long document: kind, car, a few lines of fact, and a photograph where there is
    one."""

    rows: tuple[tuple[str, str], ...]
    statement: str
    photograph: Plate | None = None


LABELS: Final = {"table": "Table", "figure": "Figure", "page": "Page {page} of {pages}"}
"""What pages say of themselves where nothing else is said."""


@dataclass(frozen=True)
class Pages:
    """A document: ``title`` (its kind), ``subject`` (the car), ``mark`` (what every page says of its state,
    or nothing), ``reference`` for the foot of every page, its blocks, its pictures (Vega-Lite, by name) and
    its photographs (JPEG, by name).

    ``contents`` asks for a table of contents; ``language`` is a tag such as en-GB, and ``labels`` what pages
    say of themselves in it (``wording.labels``).
    """

    title: str
    subject: str
    mark: str
    reference: str
    language: str
    blocks: Sequence[Block]
    cover: Cover | None = None
    contents: bool = False
    pictures: dict[str, dict[str, Any]] = field(default_factory=dict)
    photographs: Mapping[str, bytes] = field(default_factory=dict)
    author: str = ""
    labels: dict[str, str] = field(default_factory=lambda: dict(LABELS))
