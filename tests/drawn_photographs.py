"""Photographs drawn by code, with what cameras write into theirs: a red corner at the top left of what was
seen, whichever way the camera was held."""

import io
import struct
import zlib
from datetime import date
from typing import Any

from PIL import Image, ImageDraw

TURNS = {1: None, 3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90, 8: Image.Transpose.ROTATE_270}
"""How a scene lies in the file of a camera held so, by Exif orientation."""


def drawn_photograph(
    size: tuple[int, int] = (320, 200),
    *,
    kind: str = "JPEG",
    orientation: int = 1,
    taken_on: date | None = date(2026, 6, 20),
    place: bool = True,
    mode: str = "RGB",
    mark: int = 0,
) -> bytes:
    """A photograph of ``size`` as it is seen upright; ``mark`` tells one from others."""
    ground: dict[str, tuple[int, ...]] = {"RGBA": (0, 0, 0, 0)}
    scene = Image.new(mode, size, ground.get(mode, (40, 90, 60)))
    pen = ImageDraw.Draw(scene)
    pen.rectangle((0, 0, size[0] // 4, size[1] // 4), fill=(220, 20, 20))
    pen.point((size[0] - 1, size[1] - 1), fill=(mark, mark, mark))
    turn = TURNS[orientation]
    written = io.BytesIO()
    said: dict[str, Any] = {"exif": exif(orientation, taken_on, place=place)}
    if kind == "JPEG":
        said |= {"quality": 95, "comment": b"kept by Nobody Known"}
    (scene if turn is None else scene.transpose(turn)).save(written, kind, **said)
    return written.getvalue()


def exif(orientation: int, taken_on: date | None, *, place: bool) -> Image.Exif:
    """What a camera writes: tags of Exif 2.32 (CIPA DC-008), numbers from memory."""
    told = Image.Exif()
    told[0x0112], told[0x010F], told[0x0110] = orientation, "Invented Optics", "Nought"
    inner = told.get_ifd(0x8769)
    inner[0xA431] = "serial-778899"
    if taken_on is not None:
        inner[0x9003] = f"{taken_on:%Y:%m:%d} 10:12:44"
    if place:
        where = told.get_ifd(0x8825)
        where[1], where[2], where[3], where[4] = "N", (51.0, 30.0, 26.0), "W", (0.0, 7.0, 39.0)
    return told


def png_of(width: int, height: int, packed: bytes = b"\0" * 1_000) -> bytes:
    """A PNG that says it is so large, with little in it."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(packed, 9)), (b"IEND", b""))
    chunks = (
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)
