"""Files through a browser: an upload as a file for a moment, a folder as one download.

An upload is bounded and its first bytes held against its kind before anything reads it.
"""

import io
import re
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from pricing.errors import FileError, PricingError
from pricing.intake.tables.readers import endings

LARGEST_UPLOAD: Final = 200_000_000
"""Bytes."""

_ZIP: Final = b"PK\x03\x04"
_FIRST_BYTES: Final = {
    "xlsx": _ZIP, "xlsb": _ZIP, "ods": _ZIP, "parquet": b"PAR1", "pdf": b"%PDF-",
    "xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
}  # fmt: skip
"""ZIP local file header (PKWARE APPNOTE, 4.3.7), the magic number of Apache Parquet's file format, the
header of PDF (ISO 32000-1, 7.5.2), and that of a compound file ([MS-CFB] 2.2)."""

_LOOKED_AT: Final = 1024
_LONGEST_NAME: Final = 60
"""Characters; file systems take 255 bytes, and a character has up to four."""


def upload_kinds() -> list[str]:
    """Endings of the files of records that can be uploaded."""
    return [*endings(), "html", "htm"]


@contextmanager
def received(name: str, content: bytes | memoryview) -> Iterator[Path]:
    """An upload as a file in a folder of its own, which is gone afterwards with all that was put into it.

    Errors raised meanwhile speak of the file by its name alone. Raises ``FileError`` for an upload that is
    empty, too large, of no kind that can be read, or not of the kind that its name says.

    >>> with received("../notes.csv", b"make,model") as path:
    ...     path.name, path.read_text()
    ('notes.csv', 'make,model')
    >>> path.parent.exists()
    False
    """
    plain = _file_name(name)
    _refuse(plain, content)
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        path = Path(folder) / plain
        try:
            path.write_bytes(content)
            yield path
        except PricingError as error:
            raise type(error)(str(error).replace(f"{path.parent}/", "")) from error
        except OSError as error:
            raise FileError(f"{plain} cannot be kept for reading: {error.strerror}") from error


def packed(folder: Path) -> bytes:
    """The files of a folder as one ZIP archive.

    >>> with received("a.csv", b"make") as path:
    ...     archive = packed(path.parent)
    >>> zipfile.ZipFile(io.BytesIO(archive)).namelist()
    ['a.csv']
    """
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False) as archive:
        for path in sorted(folder.iterdir()):
            archive.write(path, path.name)
    return written.getvalue()


def _file_name(name: str) -> str:
    """The last part of a name, without what a file's name cannot hold; its ending is kept."""
    last = re.sub(r"[\x00-\x1f\x7f]", "", re.split(r"[/\\]", name)[-1]).strip()
    shortened = last[-_LONGEST_NAME:].encode("utf-8", "ignore").decode()
    return f"upload{shortened}" if shortened == "" or shortened.startswith(".") else shortened


def _refuse(name: str, content: bytes | memoryview) -> None:
    kind = Path(name).suffix.lower().removeprefix(".")
    if kind not in upload_kinds():
        raise FileError(f"{name} is of no kind that can be read; expected one of {', '.join(upload_kinds())}")
    if len(content) == 0:
        raise FileError(f"{name} is empty")
    if len(content) > LARGEST_UPLOAD:
        raise FileError(
            f"{name} has {len(content):,} bytes and an upload at most {LARGEST_UPLOAD:,}; load it with: "
            "pricing load"
        )
    start, other = bytes(content[:_LOOKED_AT]), f"{name} is not of the kind that its name says"
    if kind in _FIRST_BYTES:
        if not start.startswith(_FIRST_BYTES[kind]):
            raise FileError(f"{other}: it does not begin like {kind}")
    elif start.startswith(tuple(_FIRST_BYTES.values())) or (
        b"\0" in start and not start.startswith((b"\xff\xfe", b"\xfe\xff"))
    ):
        raise FileError(f"{other}: {kind} is text, and this is not")
