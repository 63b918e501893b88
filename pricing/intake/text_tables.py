"""Tables in text files: any of the usual delimiters and encodings, and lines that are not as they should
be."""

import codecs
import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.errors import FileError
from pricing.intake.layout import Layout, numbered

PART_ROWS: Final = 250_000
LONGEST_CELL: Final = 1_000_000
"""Characters; a longer cell is an unclosed quote or an attack."""

BLOCK: Final = 1 << 22
EXTRA_CELLS: Final = "cells beyond the header"
"""Column holding what a line has more than its header."""

ENCODINGS: Final = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "latin-1": "cp1252"}
"""Text encodings by the name used in mapping files. Files called Latin-1 are read as its superset
Windows-1252, as the WHATWG Encoding standard has it."""

DELIMITERS: Final = (",", ";", "\t", "|")


def read_text_table(path: Path, layout: Layout) -> Iterator[tuple[pl.DataFrame, int]]:
    """The rows of a CSV file, part by part, and how many there will be about."""
    encoding, lines = survey_text(path, layout.encoding)
    first = layout.header_row - 1
    if encoding in ("utf-8", "utf-8-sig"):
        source: Path | bytes = path
    else:
        source = path.read_bytes().decode(encoding).encode()
    delimiter = _find_delimiter(path, encoding, layout) if layout.delimiter is None else layout.delimiter
    if len(delimiter.encode()) != 1:
        raise FileError(f"{path}: a delimiter is one plain character; got {delimiter!r}")
    done = 0
    try:
        scan = pl.scan_csv(source, infer_schema=False, separator=delimiter, skip_lines=first)
        for frame in scan.collect_batches(chunk_size=PART_ROWS, maintain_order=True):
            yield numbered(frame, done + first + 2), lines - first - 1
            done += frame.height
        if done == 0:
            raise FileError(f"{path} has a header and no rows")
    except pl.exceptions.NoDataError:
        raise FileError(f"{path} is empty") from None
    except pl.exceptions.ComputeError:
        # Lines with stray quotes or too many cells: read one by one, so that only those lines suffer.
        yield from _read_ragged(path, encoding, delimiter, first, done)


def _read_ragged(
    path: Path, encoding: str, delimiter: str, first: int, done: int
) -> Iterator[tuple[pl.DataFrame, int]]:
    """Lines through Python's own reader, from row ``done`` on; cells beyond the header go in a column of
    theirs."""
    csv.field_size_limit(LONGEST_CELL)
    with path.open(encoding=encoding, newline="") as file:
        lines = csv.reader(file, delimiter=delimiter)
        rows: list[list[str]] = []
        try:
            table = list(lines)[first:]
        except csv.Error as error:
            raise FileError(f"{path}, line {lines.line_num}: {error}") from None
    header, rows = _unique_names(table[0] if table else []), table[1 + done :]
    if not header:
        raise FileError(f"{path} has no header in row {first + 1}")
    width = len(header)
    columns: dict[str, Any] = {
        name: [row[place] if place < len(row) and row[place] != "" else None for row in rows]
        for place, name in enumerate(header)
    }
    columns[EXTRA_CELLS] = [delimiter.join(row[width:]) or None if len(row) > width else None for row in rows]
    yield (
        numbered(pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String)), done + first + 2),
        len(rows) + done,
    )


def _unique_names(header: list[str]) -> list[str]:
    """The header with repeated names numbered, as the main reader does."""
    seen: dict[str, int] = {}
    names = []
    for name in header:
        if name in seen:
            names.append(f"{name}_duplicated_{seen[name]}")
            seen[name] += 1
        else:
            names.append(name)
            seen[name] = 0
    return names


def survey_text(path: Path, stated: str | None) -> tuple[str, int]:
    """The encoding of a text file and the number of its lines, in one pass that bounds the length of a
    line."""
    if stated is not None and stated not in ENCODINGS:
        raise FileError(f"{path}: encoding {stated!r} is not one of {', '.join(ENCODINGS)}")
    with path.open("rb") as file:
        start = file.read(4)
        if stated is None:
            found = "utf-16" if start[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
        else:
            found = stated
        if found != "utf-16" and b"\0" in start:
            raise FileError(f"{path} is not a text file")
        file.seek(0)
        decoder = codecs.getincrementaldecoder(ENCODINGS[found])()
        lines, unbroken, last = 0, 0, b""
        while block := file.read(BLOCK):
            try:
                decoder.decode(block)
            except UnicodeDecodeError as error:
                if stated is None and found == "utf-8":
                    return survey_text(path, "latin-1")
                raise FileError(f"{path} is not {found} text: {error.reason} at byte {error.start}") from None
            if found != "utf-16" and b"\0" in block:
                raise FileError(f"{path} is not a text file: it holds a zero byte")
            lines += block.count(b"\n")
            last = block[-1:]
            unbroken = unbroken + len(block) if b"\n" not in block else len(block) - block.rfind(b"\n")
            if unbroken > 32 * LONGEST_CELL:
                raise FileError(f"{path} has a line of more than {32 * LONGEST_CELL} characters")
    return ENCODINGS[found], lines + (last != b"\n")


def _find_delimiter(path: Path, encoding: str, layout: Layout) -> str:
    """The candidate that splits the header into the most cells."""
    with path.open(encoding=encoding, newline="") as file:
        for _ in range(layout.header_row - 1):
            file.readline(LONGEST_CELL)
        header = file.readline(LONGEST_CELL)
        while header and not header.strip():
            header = file.readline(LONGEST_CELL)
    counts = {mark: len(next(csv.reader([header], delimiter=mark), [])) for mark in DELIMITERS}
    return max(counts, key=lambda mark: counts[mark])
