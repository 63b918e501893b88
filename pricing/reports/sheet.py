"""A sheet: one page to print and take along, the same facts as an HTML page and as a PDF, in black on white.

Texts go in as data, never as markup. The PDF is set by typst in the largest type that fits one page; the page
is printed by a browser in one size, so that what goes onto it is bounded by whoever fills it.
"""

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from html import escape
from importlib.resources import files
from string import Template
from typing import Any

import typst

from pricing.errors import AppraisalError
from pricing.reports.formats.pdf import PAPERS, settable
from pricing.words.language.locale import LocaleWords
from pricing.words.sentences import CAUTION


@dataclass(frozen=True)
class SheetFigure:
    """A number that the page begins with: what it is, the amount, and what stands below it in small."""

    name: str
    amount: str
    note: str = ""


@dataclass(frozen=True)
class Section:
    """A heading with ``texts``, then ``items`` (with a box to tick where ``boxes``), then a table: ``head``
    and ``rows``, whose cells after the first are numbers."""

    title: str
    texts: tuple[str, ...] = ()
    items: tuple[str, ...] = ()
    boxes: bool = False
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class PrintedSheet:
    """One page: the figures, then sections over the whole width, sections side by side, and the cautions with
    their heading; ``language`` is a tag such as en-GB."""

    title: str
    basis: str
    figures: tuple[SheetFigure, ...]
    wide: tuple[Section, ...]
    left: tuple[Section, ...]
    right: tuple[Section, ...]
    cautions: tuple[str, ...]
    language: str = "en"
    cautions_title: str = "Cautions"


def sheet(words: LocaleWords, warning: str | None, cautions: Iterable[str], **parts: Any) -> PrintedSheet:
    """A sheet in a language, with the cautions that every one has: what there is to know of its market
    first."""
    every = ([] if warning is None else [warning]) + [words.word(CAUTION), *cautions]
    return PrintedSheet(
        cautions=tuple(dict.fromkeys(every)),
        language=words.tag,
        cautions_title=words.say("Cautions"),
        **parts,
    )


def sheet_html(sheet: PrintedSheet) -> str:
    """The sheet as an HTML page of its own, every text in it escaped."""
    template = files("pricing.reports").joinpath("templates/sheet.html").read_text(encoding="utf-8")
    return Template(template).substitute(
        language=escape(sheet.language),
        title=escape(sheet.title),
        basis=escape(sheet.basis),
        figures="".join(map(_figure, sheet.figures)),
        wide="".join(map(_section, sheet.wide)),
        left="".join(map(_section, sheet.left)),
        right="".join(map(_section, sheet.right)),
        cautions_title=escape(sheet.cautions_title),
        cautions="".join(f"<p>{escape(text)}</p>" for text in sheet.cautions),
    )


def _figure(figure: SheetFigure) -> str:
    note = f'<span class="quiet">{escape(figure.note)}</span>'
    return f"<div>{escape(figure.name)}<b>{escape(figure.amount)}</b>{note}</div>"


def _section(section: Section) -> str:
    parts = [f"<h2>{escape(section.title)}</h2>"]
    parts += [f"<p>{escape(text)}</p>" for text in section.texts]
    if section.items:
        box = '<span class="box"></span>' if section.boxes else ""
        items = "".join(f"<li>{box}{escape(text)}</li>" for text in section.items)
        parts.append(f'<ul class="{"ask" if section.boxes else "plain"}">{items}</ul>')
    if section.rows:
        body = "".join(_row("td", row) for row in section.rows)
        head = _row("th", section.head) if any(section.head) else ""
        parts.append(f"<table>{head}{body}</table>")
    return "".join(parts)


def _row(tag: str, cells: tuple[str, ...]) -> str:
    first, *numbers = (escape(cell) for cell in cells)
    inner = "".join(f"<{tag} class=number>{cell}</{tag}>" for cell in numbers)
    return f"<tr><{tag}>{first}</{tag}>{inner}</tr>"


def sheet_pdf(sheet: PrintedSheet, paper: str = "a4", made_on: date | None = None) -> bytes:
    """The sheet as a PDF of one page; ``made_on`` is the day it is stamped with.

    Raises:
        AppraisalError: there is no such paper, or the page cannot be laid out.
    """
    if paper not in PAPERS:
        raise AppraisalError(f"no paper {paper!r}; expected one of: {', '.join(PAPERS)}")
    content: dict[str, Any] = settable(asdict(sheet), 220.0, 9.0)
    stamp = None if made_on is None else datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC)
    template = files("pricing.reports").joinpath("templates/sheet.typ").read_bytes()
    try:
        return typst.compile(
            template, sys_inputs={"sheet": json.dumps(content), "paper": PAPERS[paper]}, timestamp=stamp
        )
    except typst.TypstError as error:
        raise AppraisalError(f"the sheet cannot be laid out: {error.message}") from None
