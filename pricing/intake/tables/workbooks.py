"""What a packed workbook would take, before a library reads it: parts, texts, the area of its sheets."""

import re
import zipfile
import zlib
from collections.abc import Iterator
from functools import reduce
from pathlib import Path
from typing import IO, Final

from pricing.errors import FileError
from pricing.untrusted.limits import Limits

BYTES_A_CELL: Final = 32
"""That the library which reads workbooks keeps for each cell of the area a sheet covers, filled or not."""

_BLOCK: Final = 1 << 24
_ROWS: Final = re.compile(rb'<row [^>]{0,400}?\br="(\d{1,9})"')
_WIDE: Final = re.compile(rb'r="([A-Z]{2,3})\d')
_TEXT_END: Final = b"</si>"


def refuse_large(path: Path, limits: Limits) -> None:
    """Refuse a workbook that unpacks to more than any true one does, whose sheets cover more cells than there
    is memory for, or that holds a text longer than a cell may be. What it says of its size is not believed.
    """
    size, unpacked = path.stat().st_size, 0
    try:
        with zipfile.ZipFile(path) as archive, path.open("rb") as file:
            for member in archive.infolist():
                rows, columns, text = 0, 26, b""
                for block in _unpacked(path, archive, member, file):
                    unpacked += len(block)
                    if unpacked > limits.bytes_out(size):
                        raise FileError(f"{path} unpacks to more than {limits.bytes_out(size):,} bytes")
                    if "/worksheets/" in member.filename:
                        rows = max(rows, *map(int, _ROWS.findall(block)), 0)
                        columns = max(columns, *map(_column, set(_WIDE.findall(block))), 0)
                        _refuse_area(path, member.filename, rows, columns, limits, size)
                    elif member.filename.endswith("sharedStrings.xml"):
                        *texts, text = (text + block).split(_TEXT_END)
                        longest = max(map(len, (*texts, text)))
                        if longest > 4 * limits.read_cell:
                            raise FileError(
                                f"{path} holds a text of {longest:,} bytes and a cell may have at most "
                                f"{limits.read_cell:,}"
                            )
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError) as error:
        raise FileError(f"{path} is not a readable workbook: {error}") from None


def _unpacked(
    path: Path, archive: zipfile.ZipFile, member: zipfile.ZipInfo, file: IO[bytes]
) -> Iterator[bytes]:
    """A part of the archive block by block, whatever the archive says of its length."""
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
            yield inflater.decompress(block, _BLOCK)
            block = inflater.unconsumed_tail


def _column(letters: bytes) -> int:
    """The number of a column from its letters.

    >>> _column(b"A"), _column(b"XFD")
    (1, 16384)
    """
    return reduce(lambda number, letter: number * 26 + letter - 64, letters, 0)


def _refuse_area(path: Path, sheet: str, rows: int, columns: int, limits: Limits, size: int) -> None:
    if columns > limits.read_columns:
        raise FileError(
            f"{path}: {sheet} has {columns:,} columns and may have at most {limits.read_columns:,}"
        )
    if rows * columns * BYTES_A_CELL > limits.memory(size):
        raise FileError(
            f"{path}: {sheet} covers {rows:,} rows of {columns:,} columns, far more than a file of {size:,} "
            "bytes can fill"
        )
