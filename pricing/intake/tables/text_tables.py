"""Tables in text files: any of the usual delimiters and encodings, and lines that are not as they should
be."""

import codecs
import csv
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import polars as pl

from pricing.errors import FileError
from pricing.intake.mappings.headings import plain_names
from pricing.intake.tables.drawn_rows import is_ditto
from pricing.intake.tables.drawn_tables import (
    LOOKED_THROUGH,
    DrawnTable,
    grid_of,
    header_row,
    parts_of,
    tables_in,
    unique_names,
)
from pricing.intake.tables.layout import Layout, Parts, numbered
from pricing.untrusted.limits import Limits

PART_ROWS: Final = 250_000
BLOCK: Final = 1 << 22
FEWEST_SWALLOWED: Final = 3
"""Lines inside one cell from which they are looked at as rows."""

EXTRA_CELLS: Final = "cells beyond the header"
"""Column holding what a line has more than its header."""

ENCODINGS: Final = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "latin-1": "cp1252", "mac-roman": "mac_roman"}
"""Text encodings by the name used in mapping files. Files called Latin-1 are read as its superset
Windows-1252, as the WHATWG Encoding standard has it."""

_LETTERS: Final = "äöüßÄÖÜéèêëàâîïôûùçÉÀñíóúáåÅæøìò£€’"
"""What seven languages write beyond ASCII, by which Windows-1252 and Mac OS Roman are told apart."""

DELIMITERS: Final = (",", ";", "\t", "|")

DRAWN_LINES: Final = 20_000
"""A file of more lines was written by a program, and only its header is looked for."""


def read_text_table(path: Path, layout: Layout, limits: Limits) -> Parts:
    """The rows of a text file, part by part, how many there will be about, and those that are no records."""
    csv.field_size_limit(limits.read_cell)
    survey = survey_text(path, layout.encoding, limits)
    with path.open(encoding=survey[0], newline="") as file:
        head = [file.readline(limits.read_cell) for _ in range(LOOKED_THROUGH)]
    delimiter = _find_delimiter(head) if layout.delimiter is None else layout.delimiter
    if len(delimiter.encode()) != 1:
        raise FileError(f"{path}: a delimiter is one plain character; got {delimiter!r}")
    for rows, expected, set_aside in _parts(path, layout, limits, survey, head, delimiter):
        frame = plain_names(rows)
        _refuse_open_quote(path, frame, delimiter)
        yield frame, expected, set_aside


def _parts(
    path: Path, layout: Layout, limits: Limits, survey: tuple[str, int, str], head: list[str], delimiter: str
) -> Parts:
    """The rows by whichever reader the file needs."""
    encoding, lines, line_end = survey
    first = layout.header or 0
    if layout.header is None and lines <= DRAWN_LINES:
        drawn = _drawn(path, encoding, delimiter, limits)
        if drawn is not None:
            yield from parts_of(drawn)
            return
    elif layout.header is None:
        first = header_row([_cells(line, delimiter) for line in head]) or 0
    if encoding in ("utf-8", "utf-8-sig") and line_end == "\n":
        source: Path | bytes = path
    else:
        source = path.read_bytes().decode(encoding).replace(line_end, "\n").encode()
    done = 0
    try:
        scan = pl.scan_csv(source, infer_schema=False, separator=delimiter, skip_lines=first)
        for frame in scan.collect_batches(chunk_size=PART_ROWS, maintain_order=True):
            yield numbered(frame, done + first + 2), lines - first - 1, Counter()
            done += frame.height
        if done == 0:
            raise FileError(f"{path} has a header and no rows")
    except pl.exceptions.NoDataError:
        raise FileError(f"{path} is empty") from None
    except pl.exceptions.ComputeError:
        # Lines with stray quotes or too many cells: read one by one, so that only those lines suffer.
        yield from _read_ragged(path, encoding, delimiter, first, done)


def _drawn(path: Path, encoding: str, delimiter: str, limits: Limits) -> list[DrawnTable] | None:
    """The tables of a file that is more than a header and records below it; None for one that is not."""
    with path.open(encoding=encoding, newline="") as file:
        try:
            rows = list(csv.reader(_with_ditto_marks(file, delimiter), delimiter=delimiter))
        except csv.Error:
            return None
    width = max(map(len, rows), default=0)
    if width < 2 or width > limits.read_columns:
        return None
    grid = grid_of([[cell if cell != "" else None for cell in row] for row in rows])
    header = header_row(grid.rows())
    tables = tables_in(grid, header)
    marked = any(cell and is_ditto(cell) for row in rows for cell in row)
    if not tables or (
        not marked and len(tables) == 1 and not tables[0].set_aside.total() and header in (None, 0)
    ):
        return None
    extra = [f"column {place + 1}" for place in range(len(rows[header or 0]), width)]
    return [DrawnTable(_with_extra(table.frame, extra, delimiter), table.set_aside) for table in tables]


def _with_ditto_marks(lines: Iterable[str], delimiter: str) -> Iterator[str]:
    """Lines in which a quotation mark that is a cell of its own is the ditto sign, and opens no quotation.

    >>> list(_with_ditto_marks(['"\\t1967\\t"', '"a, b",2,"c"'], "\\t"))
    ['〃\\t1967\\t〃\\n', '"a, b",2,"c"']
    """
    width = 0
    for line in lines:
        cells = line.rstrip("\r\n").split(delimiter)
        width = width or (len(cells) if len(cells) > 2 else 0)
        marks = [cell.strip() in ('"', '-"-', '--"--') for cell in cells]
        if len(cells) == width and any(marks):
            pairs = zip(marks, cells, strict=True)
            line = delimiter.join("\u3003" if mark else cell for mark, cell in pairs) + "\n"
        yield line


def _with_extra(frame: pl.DataFrame, names: list[str], delimiter: str) -> pl.DataFrame:
    """Cells beyond the header in a column of theirs."""
    beyond = [name for name in names if name in frame.columns]
    if not beyond:
        return frame
    together = pl.concat_str(beyond, separator=delimiter, ignore_nulls=True)
    return frame.with_columns(pl.when(together != "").then(together).alias(EXTRA_CELLS)).drop(beyond)


def _read_ragged(path: Path, encoding: str, delimiter: str, first: int, done: int) -> Parts:
    """Lines through Python's own reader, from row ``done`` on; cells beyond the header go in a column of
    theirs."""
    with path.open(encoding=encoding, newline="") as file:
        lines = csv.reader(file, delimiter=delimiter)
        try:
            header, *rows = list(lines)[first:] or [[]]
        except csv.Error as error:
            raise FileError(f"{path}, line {lines.line_num}: {error}") from None
    if not header:
        raise FileError(f"{path} has no header in row {first + 1}")
    names = [*unique_names(header), EXTRA_CELLS]
    width = len(header)
    cells = [[*row[:width], *[""] * (width - len(row)), delimiter.join(row[width:])] for row in rows[done:]]
    frame = pl.DataFrame(cells, schema=dict.fromkeys(names, pl.String), orient="row")
    yield numbered(frame.with_columns(pl.all().replace("", None)), done + first + 2), len(rows), Counter()


def _refuse_open_quote(path: Path, frame: pl.DataFrame, delimiter: str) -> None:
    """Refuse a cell that holds several lines of as many cells as the header has: rows that a quotation mark
    which is not closed has swallowed."""
    width = len(set(frame.columns) - {"row_number", EXTRA_CELLS})
    if width < 2:
        return
    shortest = FEWEST_SWALLOWED + (FEWEST_SWALLOWED - 1) * (width - 1)
    longest = frame.select(pl.col(pl.String).str.len_bytes().max())
    long = [cells.name for cells in longest if (cells[0] or 0) >= shortest]
    broken = frame.select(pl.col(long).str.contains("\n", literal=True).any())
    names = [cells.name for cells in broken if cells[0]]
    lines, marks = (pl.col(names).str.count_matches(mark, literal=True) for mark in ("\n", delimiter))
    swallowed = (lines >= FEWEST_SWALLOWED) & (marks >= (lines - 1) * (width - 1))
    rows = frame.filter(pl.any_horizontal(swallowed)) if names else frame.clear()
    for row in rows["row_number"].head(1):
        raise FileError(
            f"{path}, row {row}: a quotation mark is opened and not closed, and swallows the rows after "
            "it; close it, or take it away"
        )


def survey_text(path: Path, stated: str | None, limits: Limits) -> tuple[str, int, str]:
    """The encoding of a text file, the number of its lines and what ends them, in one pass that bounds the
    length of a line."""
    if stated is not None and stated not in ENCODINGS:
        raise FileError(f"{path}: encoding {stated!r} is not one of {', '.join(ENCODINGS)}")
    longest = limits.read_cell * 32
    with path.open("rb") as file:
        start = file.read(4)
        encoding = stated or ("utf-16" if start[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8")
        if encoding != "utf-16" and b"\0" in start:
            raise FileError(f"{path} is not a text file")
        file.seek(0)
        decoder = codecs.getincrementaldecoder(ENCODINGS[encoding])()
        lines, returns, unbroken, last, plain = 0, 0, 0, b"", True
        while True:
            block = file.read(BLOCK)
            try:
                if encoding == "utf-16" or not block.isascii() or not block or decoder.getstate()[0]:
                    plain &= decoder.decode(block, final=not block).isascii()
            except UnicodeDecodeError as error:
                if not block and (encoding == "utf-16" or not plain):
                    raise FileError(f"{path} is cut short: it ends in the middle of a character") from None
                if stated is None and encoding == "utf-8":
                    return survey_text(path, _eight_bit(path, limits), limits)
                raise FileError(
                    f"{path} is not {encoding} text: {error.reason} at byte {error.start}"
                ) from None
            if not block:
                break
            if encoding != "utf-16" and b"\0" in block:
                raise FileError(f"{path} is not a text file: it holds a zero byte")
            lines += block.count(b"\n")
            returns += block.count(b"\r")
            last = block[-1:]
            ends = max(block.rfind(b"\n"), block.rfind(b"\r"))
            unbroken = unbroken + len(block) if ends < 0 else len(block) - ends
            if unbroken > longest:
                raise FileError(f"{path} has a line of more than {longest:,} characters")
    line_end, lines = ("\r", returns) if returns and not lines else ("\n", lines)
    return ENCODINGS[encoding], lines + (last != line_end.encode()), line_end


def _eight_bit(path: Path, limits: Limits) -> str:
    """Of the two encodings of one byte a letter, that in which more of a file's letters are those of our
    languages."""
    with path.open("rb") as file:
        start = file.read(limits.read_cell)

    def letters(name: str) -> int:
        return sum(map(start.decode(ENCODINGS[name], errors="replace").count, _LETTERS))

    return max("latin-1", "mac-roman", key=letters)


def _cells(line: str, delimiter: str) -> list[str | None]:
    try:
        return list(next(csv.reader([line], delimiter=delimiter), []))
    except csv.Error:
        return []


def _find_delimiter(head: list[str]) -> str:
    """The candidate that parts the most lines alike, into the most cells."""

    def alike(mark: str) -> tuple[int, int]:
        counts = Counter(len(_cells(line, mark)) for line in head if line.strip())
        counts.pop(1, None)
        cells, lines = max(counts.items(), key=lambda pair: pair[0] * pair[1], default=(0, 0))
        return cells * lines, cells

    return max(DELIMITERS, key=alike)
