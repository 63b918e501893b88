"""A photograph as a stranger sent it, and as it is shown: upright, small, without what the camera wrote."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from pricing.errors import FileError
from pricing.untrusted.door import read_untrusted

LARGEST: Final = 15_000_000
"""Bytes."""

KINDS: Final = {"JPEG": (b"\xff\xd8\xff",), "PNG": (b"\x89PNG\r\n\x1a\n",), "WEBP": (b"RIFF",)}
"""Formats and their first bytes: JPEG (ITU-T T.81), PNG (RFC 2083), the container of WebP (RFC 9649)."""

ORIGINALS: Final = ("JPEG", "PNG")
"""Formats of photographs that are kept as they came."""

SUFFIXES: Final = {"JPEG": ".jpg", "PNG": ".png"}
MEDIA: Final = {"JPEG": "image/jpeg", "PNG": "image/png"}

_PHONE: Final = (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypmsf1", b"ftypavif")
"""First bytes, after the fourth, of what some telephones write in place of JPEG (ISO/IEC 23008-12)."""


@dataclass(frozen=True)
class ReadPhotograph:
    """A photograph that was read.

    Args:
        digest: SHA-256 of ``content``, the bytes as they came, hexadecimal.
        shown: the picture that is shown, a JPEG of at most 1,600 pixels a side.
        kind: JPEG, PNG or WEBP; ``width`` and ``height`` are pixels of the original, upright.
        taken_on: the day by the camera's clock, where it wrote one.
        removed: what the file told beside the picture, and ``shown`` no longer does; the place comes first.
    """

    digest: str
    content: bytes
    shown: bytes
    kind: str
    width: int
    height: int
    taken_on: date | None
    removed: tuple[str, ...]


def read_photograph(content: bytes, called: str, kinds: Sequence[str] = ORIGINALS) -> ReadPhotograph:
    """Read a photograph in the reading process; ``called`` names it in sentences.

    >>> read_photograph(b"GIF89a", "sill.gif")
    Traceback (most recent call last):
    pricing.errors.FileError: sill.gif is no JPEG or PNG picture: send it as one of these

    Raises:
        FileError: it is too large, of another format, or no whole picture.
    """
    if len(content) > LARGEST:
        raise FileError(f"{called} has {len(content):,} bytes, at most {LARGEST:,}: send a smaller one")
    if not any(content.startswith(KINDS[kind]) for kind in kinds):
        formats = f"{', '.join(kinds[:-1])} or {kinds[-1]}"
        phone = content[4:12] in _PHONE
        more = "; it is one of a telephone's own, which can send JPEG too" if phone else ""
        raise FileError(f"{called} is no {formats} picture: send it as one of these{more}")
    from pricing.untrusted.picture_reader import picture

    about: dict[str, Any] = {"called": called, "length": len(content), "kinds": list(kinds)}
    (answer,) = read_untrusted(picture, Path(called), content=content, **about)
    taken, removed = answer.facts["taken_on"], tuple(answer.facts["removed"])
    taken_on = None if taken is None else date.fromisoformat(taken)
    facts = answer.facts | {"taken_on": taken_on, "removed": removed}
    return ReadPhotograph(hashlib.sha256(content).hexdigest(), content, answer.content, **facts)
