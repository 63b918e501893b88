"""Tables of sales in the pages of a PDF file: within ruled lines, or in columns of text that stand apart."""

from collections import Counter
from pathlib import Path
from typing import Any, Final

from pricing.errors import FileError
from pricing.intake.tables.drawn_tables import grid_of, parts_of, tables_in
from pricing.intake.tables.layout import Layout, Parts
from pricing.untrusted.limits import Limits

MOST_PAGES: Final = 400
"""Pages that are looked through; a longer file is a book."""

MOST_MARKS: Final = 50_000
"""Letters, lines and boxes of a page, before anything is made of them: a page of the smallest print that can
be read has some 20,000 letters."""

SAME_LINE: Final = 3.0
"""Points that the tops of words of one line may differ by."""

APART: Final = 0.9
"""The gap between two cells, as a part of the height of their letters: a space is a quarter of it."""

Cells = list[str | None]


def read_pdf(path: Path, layout: Layout, limits: Limits) -> Parts:
    """The rows of the tables of a PDF file, those of equal headings together.

    Raises ``FileError`` for a file that cannot be read, that was scanned, or that holds no table.
    """
    import pdfplumber
    from pdfplumber.utils.exceptions import MalformedPDFException, PdfminerException

    try:
        with pdfplumber.open(path) as book:
            if len(book.pages) > MOST_PAGES:
                raise FileError(f"{path} has {len(book.pages):,} pages and may have at most {MOST_PAGES}")
            rows: list[Cells] = []
            letters = 0
            for page in book.pages:
                marks = sum(map(len, page.objects.values()))
                if marks > MOST_MARKS:
                    raise FileError(
                        f"{path} has {marks:,} letters and lines on page {page.page_number} and may have "
                        f"at most {MOST_MARKS:,} on a page: ask for the table itself"
                    )
                letters += len(page.chars)
                rows += _rows(page)
                page.close()
    except (PdfminerException, MalformedPDFException) as error:
        reason = str(error).strip() or "it is broken, or a password locks it"
        raise FileError(f"{path} is not a readable PDF file: {reason}") from None
    if letters == 0:
        raise FileError(
            f"{path} holds pictures of pages and no text, as a scanner makes them: type its sales in, or ask "
            "for the table itself"
        )
    grid = grid_of(rows)
    tables = [] if grid.width < 2 else tables_in(grid, layout.header)
    if not tables:
        raise FileError(f"{path} holds text, and no table that can be told from it")
    yield from parts_of(tables)


def _rows(page: Any) -> list[Cells]:
    """The rows of a page: of its ruled tables, or of the columns that its words stand in."""
    ruled = [table for table in page.extract_tables() if len(table) > 1 and len(table[0]) > 1]
    if ruled:
        return [[_plain(cell) for cell in row] for table in ruled for row in table]
    lines = [_cells(line) for line in _lines(page.extract_words())]
    columns = _columns(lines)
    if len(columns) < 2:
        return [[" ".join(text for _, _, text in line)] for line in lines]
    return [_placed(line, columns) for line in lines]


def _plain(cell: str | None) -> str | None:
    return " ".join(cell.split()) or None if cell is not None else None


def _lines(words: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Words by the line they stand on, from left to right."""
    lines: list[list[dict[str, Any]]] = []
    for word in sorted(words, key=lambda word: (word["top"], word["x0"])):
        if not lines or word["top"] - lines[-1][0]["top"] > SAME_LINE:
            lines.append([])
        lines[-1].append(word)
    return [sorted(line, key=lambda word: word["x0"]) for line in lines]


def _cells(line: list[dict[str, Any]]) -> list[tuple[float, float, str]]:
    """A line parted where a gap is wider than any between words: left, right, text."""
    cells: list[tuple[float, float, str]] = []
    for word in line:
        left, right, text = float(word["x0"]), float(word["x1"]), str(word["text"])
        if cells and left - cells[-1][1] < APART * (float(word["bottom"]) - float(word["top"])):
            cells[-1] = (cells[-1][0], right, f"{cells[-1][2]} {text}")
        else:
            cells.append((left, right, text))
    return cells


def _columns(lines: list[list[tuple[float, float, str]]]) -> list[tuple[float, float]]:
    """Where the columns of a page stand, by the lines that have as many cells as most that have several."""
    counts = Counter(len(line) for line in lines if len(line) > 1)
    if not counts:
        return []
    most = max(counts, key=lambda count: counts[count] * count)
    columns: list[tuple[float, float]] = []
    for left, right, _ in sorted(cell for line in lines if len(line) >= most for cell in line):
        if columns and left <= columns[-1][1]:
            columns[-1] = (columns[-1][0], max(columns[-1][1], right))
        else:
            columns.append((left, right))
    return columns


def _placed(line: list[tuple[float, float, str]], columns: list[tuple[float, float]]) -> Cells:
    """The cells of a line under the columns that they stand nearest to."""
    row: Cells = [None] * len(columns)
    for left, right, text in line:
        away = [max(left - end, start - right, 0.0) for start, end in columns]
        place = away.index(min(away))
        row[place] = text if row[place] is None else f"{row[place]} {text}"
    return row
