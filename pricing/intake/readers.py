"""Files of tables as frames of text, in parts that fit in memory, every row with its place in the file.

Cells are text (parquet and JSON keep their types). ``row_number`` counts from 1, the header being row 1 of a
CSV file or a sheet. Blank rows are no rows.
"""

import codecs
import csv
import json
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import fastexcel
import polars as pl
import pyarrow
import pyarrow.parquet

from pricing.errors import FileError

PART_ROWS: Final = 250_000
LONGEST_CELL: Final = 1_000_000
"""Characters; a longer cell is an unclosed quote or an attack."""

LARGEST_WORKBOOK: Final = 2 << 30
"""Bytes that a packed workbook may unpack to."""

EXTRA_CELLS: Final = "cells beyond the header"
"""Column holding what a line has more than its header."""

ENCODINGS: Final = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "latin-1": "cp1252"}
"""Text encodings by the name used in mapping files. Files called Latin-1 are read as its superset
Windows-1252, as the WHATWG Encoding standard has it."""


@dataclass(frozen=True)
class Layout:
    """How a file lies on the disk, as far as it does not say so itself; ``None`` is found out."""

    sheet: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    header_row: int = 1


@dataclass(frozen=True)
class Part:
    """Some consecutive rows of a file."""

    frame: pl.DataFrame
    """Their cells, and ``row_number``."""
    rows_done: int
    rows_expected: int
    """Rows of the file up to here, and in all: exact for the last part."""


def read_file(path: Path, layout: Layout | None = None) -> Iterator[Part]:
    """Read a file part by part, by the ending of its name: csv, tsv, txt, xlsx, parquet, jsonl, ndjson.

    Raises ``FileError`` when it is absent, a folder, empty, broken, of another kind, or larger than any true
    one.
    """
    layout = Layout() if layout is None else layout
    if path.is_dir():
        raise FileError(f"{path} is a folder, not a file of records")
    if not path.is_file():
        raise FileError(f"{path} does not exist")
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise FileError(f"{path} is of no kind that can be read; expected one of {', '.join(_READERS)}")
    try:
        if path.stat().st_size == 0:
            raise FileError(f"{path} is empty")
        rows = 0
        for frame, expected in reader(path, layout):
            rows += frame.height
            yield Part(_without_blank_rows(frame), rows, max(rows, expected))
    except (OSError, pl.exceptions.PolarsError, pyarrow.ArrowException) as error:
        raise FileError(f"{path} cannot be read: {str(error).strip().splitlines()[0]}") from None


def _without_blank_rows(frame: pl.DataFrame) -> pl.DataFrame:
    cells = [name for name in frame.columns if name != "row_number"]
    blank = (
        frame.select(pl.all_horizontal(pl.col(name).is_null() for name in cells)).to_series()
        if cells
        else None
    )
    return frame if blank is None or not blank.any() else frame.filter(~blank)


Frames = Iterator[tuple[pl.DataFrame, int]]


def _read_csv(path: Path, layout: Layout) -> Frames:
    encoding, lines = _survey_text(path, layout.encoding)
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
            yield _numbered(frame, done + first + 2), lines - first - 1
            done += frame.height
        if done == 0:
            raise FileError(f"{path} has a header and no rows")
    except pl.exceptions.NoDataError:
        raise FileError(f"{path} is empty") from None
    except pl.exceptions.ComputeError:
        # Lines with stray quotes or too many cells: read one by one, so that only those lines suffer.
        yield from _read_ragged(path, encoding, delimiter, first, done)


def _numbered(frame: pl.DataFrame, first: int) -> pl.DataFrame:
    numbers = pl.int_range(first, first + frame.height, dtype=pl.Int64, eager=True)
    return frame.drop("row_number", strict=False).with_columns(numbers.alias("row_number"))


def _read_ragged(path: Path, encoding: str, delimiter: str, first: int, done: int) -> Frames:
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
        _numbered(pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String)), done + first + 2),
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


def _survey_text(path: Path, stated: str | None) -> tuple[str, int]:
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
        while block := file.read(1 << 22):
            try:
                decoder.decode(block)
            except UnicodeDecodeError as error:
                if stated is None and found == "utf-8":
                    return _survey_text(path, "latin-1")
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
        header = ""
    counts = {mark: len(next(csv.reader([header], delimiter=mark), [])) for mark in (",", ";", "\t", "|")}
    return max(counts, key=lambda mark: counts[mark])


def _read_xlsx(path: Path, layout: Layout) -> Frames:
    _refuse_bomb(path)
    try:
        book = fastexcel.read_excel(path)
        sheets = book.sheet_names if layout.sheet is None else [layout.sheet]
        if layout.sheet is not None and layout.sheet not in book.sheet_names:
            raise FileError(f"{path} has no sheet {layout.sheet!r}; it has: {', '.join(book.sheet_names)}")
        frames = [
            (sheet, book.load_sheet(sheet, dtypes="string", header_row=layout.header_row - 1).to_polars())
            for sheet in sheets
        ]
    except (fastexcel.FastExcelError, ValueError) as error:
        raise FileError(f"{path} is not a readable workbook: {str(error).splitlines()[0]}") from None
    if all(frame.is_empty() for _, frame in frames):
        raise FileError(f"{path} holds no rows")
    total = sum(frame.height for _, frame in frames)
    for _, frame in frames:
        if not frame.is_empty():
            yield _numbered(frame, layout.header_row + 1), total


def _refuse_bomb(path: Path) -> None:
    """Refuse a workbook that unpacks to more than any true one does; what it says of its size is not
    believed."""
    unpacked = 0
    try:
        with zipfile.ZipFile(path) as archive, path.open("rb") as file:
            for member in archive.infolist():
                file.seek(member.header_offset)
                local = file.read(30)
                file.seek(int.from_bytes(local[26:28], "little") + int.from_bytes(local[28:30], "little"), 1)
                inflater, left = zlib.decompressobj(-zlib.MAX_WBITS), member.compress_size
                while left > 0 and member.compress_type == zipfile.ZIP_DEFLATED and not inflater.eof:
                    block = file.read(min(left, 1 << 20))
                    left -= len(block)
                    while block:
                        unpacked += len(inflater.decompress(block, 1 << 24))
                        block = inflater.unconsumed_tail
                        if unpacked > LARGEST_WORKBOOK:
                            raise FileError(f"{path} unpacks to more than {LARGEST_WORKBOOK} bytes")
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError) as error:
        raise FileError(f"{path} is not a readable workbook: {error}") from None


def _read_parquet(path: Path, layout: Layout) -> Frames:
    file = pyarrow.parquet.ParquetFile(path)
    total, done = file.metadata.num_rows, 0
    if total == 0:
        raise FileError(f"{path} holds no rows")
    for batch in file.iter_batches(batch_size=PART_ROWS):
        frame = pl.from_arrow(batch)
        if isinstance(frame, pl.DataFrame):
            yield _numbered(frame, done + 1), total
            done += frame.height


def _read_json_lines(path: Path, layout: Layout) -> Frames:
    encoding, lines = _survey_text(path, layout.encoding)
    rows: list[dict[str, Any]] = []
    numbers: list[int] = []
    with path.open(encoding=encoding) as file:
        for number, line in enumerate(file, 1):
            if not line.strip():
                continue
            try:
                row = json.loads(line)
            except (ValueError, RecursionError):
                raise FileError(f"{path}, line {number} is not JSON") from None
            if not isinstance(row, dict):
                raise FileError(f"{path}, line {number} is not a JSON object")
            rows.append(row)
            numbers.append(number)
    if not rows:
        raise FileError(f"{path} holds no rows")
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: [_cell(row.get(name)) for row in rows] for name in names if name != "row_number"}
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    yield frame.with_columns(pl.Series("row_number", numbers, dtype=pl.Int64)), lines


def _cell(value: object) -> str | None:
    """A JSON value as cell text: a list of words parted by ``;``, other structures as they are."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, list) and all(isinstance(word, str) for word in value):
        return ";".join(value)
    return json.dumps(value)


_READERS: Final = {
    ".csv": _read_csv,
    ".tsv": _read_csv,
    ".txt": _read_csv,
    ".xlsx": _read_xlsx,
    ".parquet": _read_parquet,
    ".jsonl": _read_json_lines,
    ".ndjson": _read_json_lines,
}
