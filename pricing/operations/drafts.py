"""Half-done inspections: one folder a sheet beside the market file, so that a reload or a lost connection
loses nothing.

A sheet is kept as the file that ``inspection_files`` writes, whole at every finding, its photos beside it.
Who knows a sheet's name can open it: the name is long and random, and stands in the address of the page.
"""

import io
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from PIL import Image, ImageOps

from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import open_inspection, save
from pricing.errors import FileError
from pricing.untrusted.door import read_untrusted
from pricing.untrusted.limits import Limits

LARGEST_PHOTO: Final = 15_000_000
"""Bytes."""

PHOTO_KINDS: Final = ("jpg", "jpeg", "png", "webp")
MOST_PHOTOS: Final = 200
"""Of one sheet."""

MOST_PIXELS: Final = 100_000_000
LONGEST_SIDE: Final = 1600
"""Pixels of a photo as it is kept."""

_NAME: Final = re.compile(r"[0-9a-f]{32}")
_FIRST_BYTES: Final = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF")
"""JPEG (ITU T.81), PNG (RFC 2083) and the container of WebP (RFC 9649)."""


def new_name() -> str:
    """A name for a new sheet, which nobody guesses."""
    return secrets.token_hex(16)


def sheet_folder(market: Path, name: str) -> Path:
    """The folder of a sheet, there or not.

    Raises:
        FileError: no sheet can have that name.

    >>> sheet_folder(Path("market.duckdb"), "0" * 32).parent.name
    'market.inspections'
    """
    if not _NAME.fullmatch(name):
        raise FileError("the address names no inspection sheet: start one, or open the link you were given")
    return market.with_suffix(".inspections") / name


def keep_sheet(market: Path, name: str, inspection: Inspection) -> None:
    """Keep a sheet as it now is, in place of what was kept."""
    folder = sheet_folder(market, name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"the sheet cannot be kept beside the market file: {error.strerror}") from None
    save(inspection, folder / "inspection.json")


def open_sheet(market: Path, name: str, extensions: Path | None = None) -> Inspection:
    """A kept sheet, half done or whole.

    Raises:
        FileError, InspectionError: there is none of that name, or it cannot be read.
    """
    path = sheet_folder(market, name) / "inspection.json"
    if not path.is_file():
        raise FileError("there is no inspection sheet under that name any more; start a new one")
    return open_inspection(path, extensions=extensions)


def keep_photo(market: Path, name: str, check: str, content: bytes) -> str:
    """Keep a photo for a check of a sheet, made smaller and without what else the camera wrote into it
    (place, time, owner); gives its file name.

    Raises:
        FileError: it is too large, no photo, or one too many.
    """
    if len(content) > LARGEST_PHOTO:
        raise FileError(f"the photo has {len(content):,} bytes, at most {LARGEST_PHOTO:,}")
    if not content.startswith(_FIRST_BYTES):
        raise FileError(f"the photo is none of: {', '.join(PHOTO_KINDS)}")
    (smaller,) = read_untrusted(small_photo, Path("the photo"), content=content)
    folder = sheet_folder(market, name)
    taken = sum(1 for _ in folder.glob("*.jpg"))
    if taken >= MOST_PHOTOS:
        raise FileError(f"the sheet has {taken} photos, which is as many as it holds")
    plain = re.sub(r"[^a-z0-9_]", "_", check.lower())[:60]
    file = f"{plain}-{taken + 1:03d}.jpg"
    try:
        (folder / file).write_bytes(smaller.content)
    except OSError as error:
        raise FileError(f"the photo cannot be kept beside the market file: {error.strerror}") from None
    return file


def small_photo(name: str, limits: Limits) -> Iterator[tuple[dict[str, Any], bytes]]:
    """The reader that ``keep_photo`` has run in the reading process: a photo upright, small, and a JPEG."""
    with Image.open(name, formats=("JPEG", "PNG", "WEBP")) as opened:
        if opened.width * opened.height > MOST_PIXELS:
            raise FileError(f"the photo has {opened.width:,} x {opened.height:,} pixels, too many to keep")
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        upright = ImageOps.exif_transpose(opened).convert("RGB")
        upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    written = io.BytesIO()
    upright.save(written, "JPEG", quality=85)
    yield {}, written.getvalue()


def photo(market: Path, name: str, file: str) -> Path | None:
    """The kept photo of that file name, if there is one."""
    path = sheet_folder(market, name) / Path(file).name
    return path if file and path.suffix == ".jpg" and path.is_file() else None
