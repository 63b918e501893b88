"""Photographs in files of a word processor: within the margins, with a description, text beside them."""

import io
from collections.abc import Mapping, Sequence
from typing import Any, Final

from docx.oxml.ns import qn
from docx.shared import Emu, Mm

from pricing.reports.formats.blocks import Shown
from pricing.reports.formats.docx_elements import keep_whole
from pricing.words.language.locale import shown

TALLEST: Final = Mm(75)
COVER: Final = Mm(44)
"""The tallest that a photograph is shown, among others and on the cover."""

_GUTTER: Final = Mm(6)


def rows_of(items: Sequence[Shown]) -> list[tuple[Shown, ...]]:
    """Photographs by rows: alone where lines stand beside it, else two and two."""
    alone = [(item,) for item in items if item.beside]
    others = [item for item in items if not item.beside]
    return alone + [tuple(others[place : place + 2]) for place in range(0, len(others), 2)]


def add_row(document: Any, row: Sequence[Shown], photographs: Mapping[str, bytes], width: Any) -> None:
    """A row of two cells, kept on one page: each photograph with its caption, or one with the lines that
    stand beside it."""
    table = document.add_table(1, 2)
    table.autofit = False
    keep_whole(table.rows[0])
    cells = table.rows[0].cells
    half = Emu(int(width) // 2)
    for column, cell in zip(table.columns, cells, strict=True):
        column.width = cell.width = half
    for cell, item in zip(cells, row, strict=False):
        line = cell.paragraphs[0]
        line.style = "Picture"
        add_photograph(line, item, photographs, Emu(half - _GUTTER), TALLEST)
        cell.add_paragraph(style="Caption").add_run(shown(item.caption))
    for place, (name, said) in enumerate(row[0].beside):
        label = cells[1].paragraphs[0] if place == 0 else cells[1].add_paragraph()
        label.style = "Small Print"
        label.add_run(shown(name))
        label.paragraph_format.keep_with_next = True
        cells[1].add_paragraph(style="Body Text").add_run(shown(said))


def add_photograph(line: Any, item: Shown, photographs: Mapping[str, bytes], most: Any, tallest: Any) -> None:
    """Put a photograph into a paragraph, as large as fits ``most`` across and ``tallest`` down."""
    run = line.add_run()
    picture = run.add_picture(io.BytesIO(photographs[item.name]), most)
    if picture.height > tallest:
        picture.width, picture.height = Emu(int(picture.width * tallest / picture.height)), Emu(tallest)
    (inline,) = run.element.iter(qn("wp:inline"))
    for side in ("distT", "distB", "distL", "distR"):
        inline.set(side, "0")  # else programs leave a space of their own around it
    (described,) = run.element.iter(qn("wp:docPr"))
    described.set("descr", shown(item.alt))
    described.set("title", shown(item.caption)[:200])
