"""The reader of pictures, run in the reading process: what a camera wrote into one, and the picture upright,
small and without it.

Sources: tags of Exif 2.32 (CIPA DC-008-2019; numbers from memory), PNG (W3C, third edition), and JPEG (ITU-T
T.81).
"""

import io
from collections.abc import Iterator
from datetime import datetime
from typing import Any, Final

from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from pricing.errors import FileError
from pricing.untrusted.limits import LONGEST_SIDE, Limits

MOST_PIXELS: Final = 100_000_000
QUALITY: Final = 85
"""Of the JPEG that is shown. Assumption: nobody sees a difference at this size."""

_PLACE, _CAMERA_SAID, _SMALLER = 0x8825, 0x8769, 1
_ORIENTATION, _TAKEN = 0x0112, 0x9003
_SIDEWAYS: Final = (5, 6, 7, 8)
"""Orientations that change width and height."""

_TAGS: Final = {
    "time": (0x0132, _TAKEN, 0x9004),
    "camera": (0x010F, 0x0110, 0xA433, 0xA434),
    "owner": (0x013B, 0x8298, 0xA430),
    "serial number": (0xA431, 0xA435),
    "comment": (0x010E, 0x9286, 0x9C9C),
    "maker's note": (0x927C,),
}
"""Tags of Exif by what they tell."""

_BESIDE: Final = {"comment": ("comment",), "XMP": ("xmp", "XML:com.adobe.xmp"), "IPTC": ("photoshop",)}
"""What else a file may hold, by our words and the library's."""

_PLAIN: Final = ("RGB", "RGBA", "L", "LA", "CMYK", "YCbCr")
"""Modes that can be made smaller as they are."""


def picture(
    source: str, limits: Limits, *, called: str, length: int, kinds: list[str]
) -> Iterator[tuple[dict[str, Any], bytes]]:
    """Facts of a picture (``kind``, ``width`` and ``height`` upright, ``taken_on`` by the camera's clock or
    None, ``removed``: what the file told beside the picture) and the JPEG that is shown of it.

    ``called`` names it in sentences, ``length`` is its bytes, ``kinds`` are formats that are taken. What is
    transparent is white, and colours are those of sRGB. Raises ``FileError`` where it has too many pixels,
    more than its bytes can truly hold, or is no such picture.
    """
    side = (LONGEST_SIDE, LONGEST_SIDE)
    try:
        with Image.open(source, formats=kinds) as opened:
            kind = "JPEG" if opened.format == "MPO" else str(opened.format)
            wide, high = opened.size
            if wide * high > MOST_PIXELS:
                raise FileError(_too_many(called))
            unfolded = wide * high * len(opened.getbands())
            if unfolded > limits.bytes_out(length):
                raise FileError(
                    f"{called} would unfold to {unfolded:,} bytes, more than any true photograph of its "
                    "size: send the photograph as the camera wrote it"
                )
            opened.draft("RGB", side)
            if opened.mode in _PLAIN:
                opened.thumbnail(side)
            opened.load()
            removed, taken_on, turned = _written_beside(opened)
            upright = ImageOps.exif_transpose(opened)
            profile = opened.info.get("icc_profile")
    except Image.DecompressionBombError:
        raise FileError(_too_many(called)) from None
    except UnidentifiedImageError:
        raise FileError(f"{called} cannot be read: it begins as a picture and is none") from None
    shown = _true_colours(_flat(upright), profile)
    shown.thumbnail(side)
    shown.info.clear()  # a comment would be written again
    written = io.BytesIO()
    shown.save(written, "JPEG", quality=QUALITY)
    if turned in _SIDEWAYS:
        wide, high = high, wide
    facts = {"kind": kind, "width": wide, "height": high, "taken_on": taken_on, "removed": removed}
    yield facts, written.getvalue()


def _too_many(called: str) -> str:
    return f"{called} has more than {MOST_PIXELS:,} pixels, which is too many to take in: send a smaller one"


def _written_beside(opened: Image.Image) -> tuple[list[str], str | None, int]:
    """What a file tells beside its picture, the day it was taken, and its orientation; a file may say
    anything there, and what cannot be read is left out like the rest."""
    beside = {name for name, keys in _BESIDE.items() if any(opened.info.get(key) for key in keys)}
    if getattr(opened, "text", None):
        beside.add("text")
    if getattr(opened, "n_frames", 1) > 1:
        beside.add("further pictures")
    try:
        exif = opened.getexif()
        camera, place = exif.get_ifd(_CAMERA_SAID), exif.get_ifd(_PLACE)
        smaller = exif.get_ifd(_SMALLER)
    except Exception:  # any of a dozen, by the library and the damage
        return _in_order(beside | {"what cannot be read"}), None, 1
    tags = {**exif, **camera}
    beside |= {name for name, numbers in _TAGS.items() if any(tags.get(number) for number in numbers)}
    if place or any(b"GPS" in _bytes(opened.info.get(key)) for key in _BESIDE["XMP"]):
        beside.add("place")
    if smaller:
        beside.add("smaller picture")
    if tags and not beside:
        beside.add("camera")
    return _in_order(beside), _day(tags.get(_TAKEN)), int(tags.get(_ORIENTATION) or 1)


def _in_order(beside: set[str]) -> list[str]:
    """The place first, for it matters most."""
    return sorted(beside, key=lambda name: (name != "place", name != "time", name))


def _bytes(value: object) -> bytes:
    return value if isinstance(value, bytes) else str(value or "").encode()


def _day(written: object) -> str | None:
    """The day of a time as Exif writes it.

    >>> _day("2026:06:24 10:12:44"), _day("0000:00:00 00:00:00")
    ('2026-06-24', None)
    """
    try:
        return datetime.strptime(str(written).strip("\0 ")[:10], "%Y:%m:%d").date().isoformat()
    except ValueError:
        return None


def _flat(image: Image.Image) -> Image.Image:
    """The picture in red, green and blue, or in the inks it has, on white."""
    if image.mode.startswith("I") or image.mode == "F":
        image = image.convert("I").point(lambda value: value / 256).convert("L")
    if image.has_transparency_data:
        clear = image.convert("RGBA")
        white = Image.new("RGB", clear.size, "white")
        white.paste(clear, mask=clear.getchannel("A"))
        return white
    return image if image.mode in ("RGB", "CMYK") else image.convert("RGB")


def _true_colours(image: Image.Image, profile: bytes | None) -> Image.Image:
    """The picture in sRGB by its own colour profile, where it has one that can be read."""
    if profile:
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(image, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
            image = image if turned is None else turned
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # without its profile a picture is shown as most programs show it
    return image if image.mode == "RGB" else image.convert("RGB")
