"""Half-done inspections: one folder a sheet beside the market file, so that a reload or a lost connection
loses nothing.

A sheet is kept as the file that ``inspection_files`` writes, whole at every finding, its photos beside it.
Who knows a sheet's name can open it: the name is long and random, and stands in the address of the page.
"""

import re
import secrets
from pathlib import Path
from typing import Final

from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import open_inspection, save
from pricing.errors import FileError
from pricing.untrusted.photographs import KINDS, read_photograph

PHOTO_KINDS: Final = ("jpg", "jpeg", "png", "webp")
MOST_PHOTOS: Final = 200
"""Of one sheet."""

_NAME: Final = re.compile(r"[0-9a-f]{32}")


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
    shown = read_photograph(content, "the photo", tuple(KINDS)).shown
    folder = sheet_folder(market, name)
    taken = sum(1 for _ in folder.glob("*.jpg"))
    if taken >= MOST_PHOTOS:
        raise FileError(f"the sheet has {taken} photos, which is as many as it holds")
    plain = re.sub(r"[^a-z0-9_]", "_", check.lower())[:60]
    file = f"{plain}-{taken + 1:03d}.jpg"
    try:
        (folder / file).write_bytes(shown)
    except OSError as error:
        raise FileError(f"the photo cannot be kept beside the market file: {error.strerror}") from None
    return file


def photo(market: Path, name: str, file: str) -> Path | None:
    """The kept photo of that file name, if there is one."""
    path = sheet_folder(market, name) / Path(file).name
    return path if file and path.suffix == ".jpg" and path.is_file() else None
