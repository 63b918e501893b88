"""Files of tables as frames of text, in parts that fit in memory, every row with its place in the file.

Cells are text (parquet and JSON keep their types). ``row_number`` counts from 1, the header being row 1 of a
CSV file or a sheet. Blank rows are no rows.
"""

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
from pricing.intake.layout import Layout, numbered
from pricing.intake.listings import is_page, read_listings
from pricing.intake.text_tables import PART_ROWS, read_text_table, survey_text

LARGEST_WORKBOOK: Final = 2 << 30
"""Bytes that a packed workbook may unpack to."""


@dataclass(frozen=True)
class Part:
    """Some consecutive rows of a file."""

    frame: pl.DataFrame
    """Their cells, and ``row_number``."""
    rows_done: int
    rows_expected: int
    """Rows of the file up to here, and in all: exact for the last part."""


def read_file(path: Path, layout: Layout | None = None) -> Iterator[Part]:
    """Read a file part by part, by the ending of its name: csv, tsv, txt, xlsx, parquet, jsonl, ndjson; html,
    or a folder of pages, for saved listings.

    Raises ``FileError`` when it is absent, a folder, empty, broken, of another kind, or larger than any true
    one.
    """
    layout = Layout() if layout is None else layout
    if path.exists() and is_page(path):
        frame = read_listings(path)
        yield Part(frame, frame.height, frame.height)
        return
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


def read_whole(path: Path, layout: Layout | None = None) -> pl.DataFrame:
    """All rows of a file in one frame; sheets of different columns one under the other."""
    return pl.concat([part.frame for part in read_file(path, layout)], how="diagonal_relaxed")


def _without_blank_rows(frame: pl.DataFrame) -> pl.DataFrame:
    cells = [name for name in frame.columns if name != "row_number"]
    if not any(frame[name].null_count() == 0 for name in cells):
        return frame.filter(~pl.all_horizontal(pl.col(name).is_null() for name in cells)) if cells else frame
    return frame  # a column that is full says that no row is blank


Frames = Iterator[tuple[pl.DataFrame, int]]


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
            yield numbered(frame, layout.header_row + 1), total


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
                    if not block:
                        raise FileError(f"{path} is not a readable workbook: it ends too early")
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
            yield numbered(frame, done + 1), total
            done += frame.height


def _read_json_lines(path: Path, layout: Layout) -> Frames:
    encoding, lines = survey_text(path, layout.encoding)
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
    ".csv": read_text_table,
    ".tsv": read_text_table,
    ".txt": read_text_table,
    ".xlsx": _read_xlsx,
    ".parquet": _read_parquet,
    ".jsonl": _read_json_lines,
    ".ndjson": _read_json_lines,
}
