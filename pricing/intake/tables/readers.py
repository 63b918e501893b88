"""Files of tables as frames of text, in parts that fit in memory, every row with its place in the file.

Cells are text (parquet and JSON keep their types). ``row_number`` counts from 1, the header being row 1 of a
CSV file or a sheet. Blank rows are no rows.
"""

import json
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

import fastexcel
import polars as pl
import pyarrow

from pricing.errors import FileError
from pricing.intake.listings import is_page, pages_in, read_listings
from pricing.intake.mappings.headings import plain_names
from pricing.intake.tables.drawn_tables import parts_of, tables_in
from pricing.intake.tables.layout import Layout, Parts
from pricing.intake.tables.parquet_files import read_parquet
from pricing.intake.tables.pdf_tables import read_pdf
from pricing.intake.tables.text_tables import read_text_table, survey_text
from pricing.intake.tables.workbooks import refuse_large
from pricing.nearest import did_you_mean
from pricing.plugins import READERS, plugged
from pricing.untrusted.documents import whole_number, whole_text
from pricing.untrusted.door import read_untrusted
from pricing.untrusted.files import is_folder, regular_size
from pricing.untrusted.limits import LONGEST_HEADING, Limits


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
    """Read a file part by part, by the ending of its name: csv, tsv, txt, xlsx, xls, xlsb, ods, pdf, parquet,
    jsonl, ndjson; html, or a folder of pages, for saved listings. A table in a text file or a workbook is
    found under titles, and of rows of units, totals and remarks it is told how many there were. A package
    may add an ending of its own (``plugins.READERS``).

    Raises ``FileError`` when it is absent, a folder, empty, broken, of another kind, or larger than any true
    one.
    """
    if not is_page(path):
        if is_folder(path):
            raise FileError(f"{path} is a folder, not a file of records")
        size = regular_size(path, Limits.of(os.environ).read_size)
        _reader(path)
        if size == 0:
            raise FileError(f"{path} is empty")
    else:
        size = sum(page.stat().st_size for page in pages_in(path))
    for answer in read_untrusted(parts, path, size=size, layout=asdict(layout or Layout())):
        done, expected, set_aside = (answer.facts[name] for name in ("done", "expected", "set_aside"))
        yield Part(answer.frame, done, expected, Counter(set_aside))


def sheet_names(path: Path) -> list[str]:
    """The sheets of a workbook, in their order; none of a file of another kind.

    Raises ``FileError`` for a workbook that cannot be read.
    """
    if _READERS.get(path.suffix.lower()) is not _read_book:
        return []
    (answer,) = read_untrusted(sheets, path)
    return list(answer.facts["sheets"])


def sheets(name: str, limits: Limits) -> Iterator[tuple[dict[str, Any], None]]:
    """The reader that ``sheet_names`` has run in the reading process."""
    yield {"sheets": _book(Path(name), limits).sheet_names}, None


def read_whole(path: Path, layout: Layout | None = None) -> pl.DataFrame:
    """All rows of a file in one frame; sheets of different columns one under the other."""
    return pl.concat([part.frame for part in read_file(path, layout)], how="diagonal_relaxed")


def parts(
    name: str, limits: Limits, *, layout: dict[str, Any]
) -> Iterator[tuple[dict[str, Any], pl.DataFrame]]:
    """The reader that ``read_file`` has run in the reading process: each part with how far it is."""
    path = Path(name)
    if is_page(path):
        frame = read_listings(path)
        yield {"done": frame.height, "expected": frame.height, "set_aside": {}}, frame
        return
    rows = 0
    try:
        for cells, expected, set_aside in _reader(path)(path, Layout(**layout), limits):
            frame = plain_names(cells)
            _refuse_large(path, frame, limits)
            rows += frame.height
            facts = {"done": rows, "expected": max(rows, expected), "set_aside": dict(set_aside)}
            yield facts, _without_blank_rows(frame)
    except (OSError, pl.exceptions.PolarsError, pyarrow.ArrowException) as error:
        raise FileError(f"{path} cannot be read: {str(error).strip().splitlines()[0]}") from None


def endings() -> list[str]:
    """Endings of the files of records that can be read, without their point; pages aside.

    >>> endings()[:3]
    ['csv', 'tsv', 'txt']
    """
    return [ending.removeprefix(".") for ending in _READERS] + sorted(plugged(READERS))


def _reader(path: Path) -> Any:
    ending = path.suffix.lower()
    if ending not in _READERS and ending.removeprefix(".") not in plugged(READERS):
        expected = ", ".join(f".{known}" for known in endings())
        raise FileError(f"{path} is of no kind that can be read; expected one of {expected}")
    return _READERS.get(ending, _read_plugged)


def _refuse_large(path: Path, frame: pl.DataFrame, limits: Limits) -> None:
    """Refuse rows that are wider, or have longer headings or cells, than any true ones."""
    if frame.width > limits.read_columns:
        raise FileError(f"{path} has {frame.width:,} columns and may have at most {limits.read_columns:,}")
    longest = max(frame.columns, key=len, default="")
    if len(longest) > LONGEST_HEADING:
        raise FileError(
            f"{path} has a heading of {len(longest):,} characters and may have at most {LONGEST_HEADING:,}: "
            f"{longest[:40]!r}"
        )
    for lengths in frame.select(pl.col(pl.String).str.len_bytes().max()):
        name, length = lengths.name, lengths[0]
        if length is not None and length > limits.read_cell:
            row = frame.filter(pl.col(name).str.len_bytes() == length)["row_number"][0]
            raise FileError(
                f"{path}, row {row}: {name[:40]!r} has {length:,} bytes and a cell may have at most "
                f"{limits.read_cell:,}"
            )


def _without_blank_rows(frame: pl.DataFrame) -> pl.DataFrame:
    cells = [name for name in frame.columns if name != "row_number"]
    if not cells or any(frame[name].null_count() == 0 for name in cells):
        return frame  # a column that is full says that no row is blank
    return frame.filter(pl.any_horizontal(pl.col(name).is_not_null() for name in cells))


def _read_book(path: Path, layout: Layout, limits: Limits) -> Parts:
    book = _book(path, limits)
    names = book.sheet_names if layout.sheet is None else [layout.sheet]
    if layout.sheet is not None and layout.sheet not in book.sheet_names:
        near = did_you_mean(layout.sheet, book.sheet_names)
        raise FileError(f"{path} has no sheet {layout.sheet!r}{near}; it has: {', '.join(book.sheet_names)}")
    try:
        loaded = [book.load_sheet(sheet, dtypes="string", header_row=None, skip_rows=0) for sheet in names]
        visible = [sheet for sheet in loaded if layout.sheet is not None or sheet.visible == "visible"]
        grids = [sheet.to_polars() for sheet in visible]
    except (fastexcel.FastExcelError, ValueError) as error:
        raise FileError(f"{path} is not a readable workbook: {str(error).splitlines()[0]}") from None
    tables = [table for grid in grids if grid.height for table in tables_in(grid, layout.header)]
    if not tables:
        raise FileError(f"{path} holds no rows")
    yield from parts_of(tables)


def _book(path: Path, limits: Limits) -> fastexcel.ExcelReader:
    if path.suffix.lower() != ".xls":  # the others are archives
        refuse_large(path, limits)
    try:
        return fastexcel.read_excel(path)
    except (fastexcel.FastExcelError, ValueError) as error:
        raise FileError(f"{path} is not a readable workbook: {str(error).splitlines()[0]}") from None


def _read_json_lines(path: Path, layout: Layout, limits: Limits) -> Parts:
    encoding, lines, _ = survey_text(path, layout.encoding, limits)
    rows: dict[int, dict[str, Any]] = {}
    names: dict[str, None] = {}
    with path.open(encoding=encoding) as file:
        for number, line in enumerate(file, 1):
            if not line.strip():
                continue
            try:
                row = json.loads(line, parse_int=whole_number)
            except (ValueError, RecursionError):
                raise FileError(f"{path}, line {number} is not JSON") from None
            if not isinstance(row, dict):
                raise FileError(f"{path}, line {number} is not a JSON object")
            rows[number] = row
            names.update(dict.fromkeys(row))
            if len(names) > limits.read_columns:
                raise FileError(
                    f"{path}, line {number}: the lines so far name more than {limits.read_columns:,} columns"
                )
    if not rows:
        raise FileError(f"{path} holds no rows")
    names.pop("row_number", None)
    columns = {whole_text(name): [_cell(row.get(name)) for row in rows.values()] for name in names}
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    yield frame.with_columns(pl.Series("row_number", list(rows), dtype=pl.Int64)), lines, Counter()


def _read_plugged(path: Path, layout: Layout, limits: Limits) -> Parts:
    """The rows that a reader of another package gives; that package is imported in the reading process."""
    entry = plugged(READERS)[path.suffix.lower().removeprefix(".")]
    frame = entry.load()(path)
    if not isinstance(frame, pl.DataFrame):
        raise FileError(f"{path} cannot be read: {entry.value}, which reads it, gave no polars frame")
    if "row_number" not in frame.columns:
        frame = frame.with_row_index("row_number", offset=1)
    yield frame.with_columns(pl.col("row_number").cast(pl.Int64)), frame.height, Counter()


def _cell(value: object) -> str | None:
    """A JSON value as cell text: a list of words parted by ``;``, other structures as they are."""
    if isinstance(value, list) and all(isinstance(word, str) for word in value):
        value = ";".join(value)
    if value is None or isinstance(value, str):
        return None if value is None else whole_text(value)
    return json.dumps(value)


_READERS: Final = {
    **dict.fromkeys((".csv", ".tsv", ".txt"), read_text_table),
    **dict.fromkeys((".xlsx", ".xlsm", ".xlsb", ".ods", ".xls"), _read_book),
    ".pdf": read_pdf,
    ".parquet": read_parquet,
    **dict.fromkeys((".jsonl", ".ndjson"), _read_json_lines),
}
