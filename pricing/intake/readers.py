"""Files of tables as frames of text, in parts that fit in memory, every row with its place in the file.

Cells are text (parquet and JSON keep their types). ``row_number`` counts from 1, the header being row 1 of a
CSV file or a sheet. Blank rows are no rows.
"""

import json
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import fastexcel
import polars as pl
import pyarrow
import pyarrow.parquet

from pricing.errors import FileError
from pricing.intake.drawn_tables import tables_in
from pricing.intake.layout import Layout, numbered
from pricing.intake.listings import is_page, read_listings
from pricing.intake.text_tables import PART_ROWS, read_text_table, survey_text
from pricing.nearest import did_you_mean

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
    set_aside: Counter[str] = field(default_factory=Counter)
    """Rows that are none of the file's records, by kind: title, units, total, header, remark."""


def read_file(path: Path, layout: Layout | None = None) -> Iterator[Part]:
    """Read a file part by part, by the ending of its name: csv, tsv, txt, xlsx, xls, xlsb, ods, parquet,
    jsonl, ndjson; html, or a folder of pages, for saved listings. A table in a text file or a workbook is
    found under titles, and of rows of units, totals and remarks it is told how many there were.

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
        for frame, expected, *others in reader(path, layout):
            rows += frame.height
            yield Part(_without_blank_rows(frame), rows, max(rows, expected), *others)
    except (OSError, pl.exceptions.PolarsError, pyarrow.ArrowException) as error:
        raise FileError(f"{path} cannot be read: {str(error).strip().splitlines()[0]}") from None


def sheet_names(path: Path) -> list[str]:
    """The sheets of a workbook, in their order; none of a file of another kind.

    Raises ``FileError`` for a workbook that cannot be read.
    """
    if _READERS.get(path.suffix.lower()) is not _read_book:
        return []
    return list(_book(path).sheet_names)


def read_whole(path: Path, layout: Layout | None = None) -> pl.DataFrame:
    """All rows of a file in one frame; sheets of different columns one under the other."""
    return pl.concat([part.frame for part in read_file(path, layout)], how="diagonal_relaxed")


def _without_blank_rows(frame: pl.DataFrame) -> pl.DataFrame:
    cells = [name for name in frame.columns if name != "row_number"]
    if not any(frame[name].null_count() == 0 for name in cells):
        return frame.filter(~pl.all_horizontal(pl.col(name).is_null() for name in cells)) if cells else frame
    return frame  # a column that is full says that no row is blank


Frames = Iterator[tuple[pl.DataFrame, int] | tuple[pl.DataFrame, int, Counter[str]]]


def _read_book(path: Path, layout: Layout) -> Frames:
    try:
        book = _book(path)
        sheets = book.sheet_names if layout.sheet is None else [layout.sheet]
        if layout.sheet is not None and layout.sheet not in book.sheet_names:
            raise FileError(
                f"{path} has no sheet {layout.sheet!r}{did_you_mean(layout.sheet, book.sheet_names)}; "
                f"it has: {', '.join(book.sheet_names)}"
            )
        loaded = [book.load_sheet(sheet, dtypes="string", header_row=None, skip_rows=0) for sheet in sheets]
        shown = [sheet for sheet in loaded if layout.sheet is not None or sheet.visible == "visible"]
        grids = [sheet.to_polars() for sheet in shown]
    except (fastexcel.FastExcelError, ValueError) as error:
        raise FileError(f"{path} is not a readable workbook: {str(error).splitlines()[0]}") from None
    header = None if layout.header_row is None else layout.header_row - 1
    tables = [table for grid in grids if grid.height for table in tables_in(grid, header)]
    if not tables:
        raise FileError(f"{path} holds no rows")
    total = sum(table.frame.height for table in tables)
    for table in tables:
        yield table.frame, total, table.set_aside


def _book(path: Path) -> fastexcel.ExcelReader:
    if path.suffix.lower() != ".xls":  # the others are archives
        _refuse_bomb(path)
    try:
        return fastexcel.read_excel(path)
    except fastexcel.FastExcelError as error:
        raise FileError(f"{path} is not a readable workbook: {str(error).splitlines()[0]}") from None


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
    **dict.fromkeys((".xlsx", ".xlsm", ".xlsb", ".ods", ".xls"), _read_book),
    ".parquet": _read_parquet,
    ".jsonl": _read_json_lines,
    ".ndjson": _read_json_lines,
}
