"""Photographs of strangers: upright, small, without the place; what is none, or a bomb, is one sentence."""

import hashlib
import io
from datetime import date

import pytest
from PIL import Image, ImageCms

from pricing.errors import FileError
from pricing.untrusted.limits import LONGEST_SIDE
from pricing.untrusted.photographs import KINDS, LARGEST, read_photograph
from tests.drawn_photographs import TURNS, drawn_photograph, png_of


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def is_red(pixel: object) -> bool:
    assert isinstance(pixel, tuple)
    return bool(pixel[0] > 180 and pixel[1] < 80 and pixel[2] < 80)


@pytest.mark.parametrize("orientation", TURNS)
def test_a_picture_is_upright_however_the_camera_was_held(orientation: int) -> None:
    """Exif 2.32, tag Orientation (274): 1 as it is, 3 upside down, 6 and 8 by a quarter."""
    content = drawn_photograph((320, 200), orientation=orientation)
    assert opened(content).size == ((200, 320) if orientation in (6, 8) else (320, 200))
    read = read_photograph(content, "sill.jpg")
    shown = opened(read.shown)
    assert shown.size == (read.width, read.height) == (320, 200)
    assert is_red(shown.getpixel((10, 10)))
    assert not any(is_red(shown.getpixel(at)) for at in ((310, 10), (10, 190), (310, 190)))


def test_the_place_is_gone_from_what_is_shown_and_said_to_be() -> None:
    content = drawn_photograph(taken_on=date(2026, 6, 24))
    assert opened(content).getexif().get_ifd(0x8825)
    read = read_photograph(content, "front.jpg")
    assert read.content == content
    assert read.digest == hashlib.sha256(content).hexdigest()
    assert read.removed == ("place", "time", "camera", "comment", "serial number")
    assert read.taken_on == date(2026, 6, 24)
    shown = opened(read.shown)
    assert not shown.getexif() and set(shown.info) <= {
        "jfif", "jfif_version", "jfif_unit", "jfif_density"
    }  # fmt: skip
    for told in (b"Exif", b"GPS", b"Invented", b"serial", b"Nobody", b"2026"):
        assert told in content or told == b"GPS"
        assert told not in read.shown


def test_a_photograph_that_tells_nothing_says_so() -> None:
    written = io.BytesIO()
    Image.new("RGB", (30, 20)).save(written, "JPEG")
    read = read_photograph(written.getvalue(), "plain.jpg")
    assert (read.removed, read.taken_on, read.kind) == ((), None, "JPEG")


def test_a_place_in_xmp_is_a_place_too() -> None:
    """XMP (ISO 16684-1) may repeat what Exif says under the names exif:GPS..."""
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><exif:GPSLatitude>51,30N</exif:GPSLatitude></x:xmpmeta>'
    written = io.BytesIO()
    Image.new("RGB", (30, 20)).save(written, "JPEG", xmp=xmp)
    read = read_photograph(written.getvalue(), "xmp.jpg")
    assert read.removed == ("place", "XMP")
    assert b"GPS" in read.content and b"GPS" not in read.shown


def test_what_is_transparent_is_white() -> None:
    read = read_photograph(drawn_photograph(kind="PNG", mode="RGBA"), "logo.png")
    assert (read.kind, read.removed[0]) == ("PNG", "place")
    shown = opened(read.shown)
    assert shown.mode == "RGB"
    assert shown.getpixel((300, 180)) == (255, 255, 255)
    assert is_red(shown.getpixel((10, 10)))


@pytest.mark.parametrize("mode", ["L", "LA", "P", "1", "CMYK", "I;16"])
def test_every_kind_of_pixel_is_shown_in_colours(mode: str) -> None:
    written = io.BytesIO()
    if mode == "CMYK":
        Image.new(mode, (30, 20), (0, 0, 0, 128)).save(written, "JPEG")
    elif mode == "I;16":
        Image.frombytes(mode, (30, 20), b"\x00\x80" * 600).save(written, "PNG")
    else:
        Image.new("L", (30, 20), 128).convert(mode).save(written, "PNG")
    shown = opened(read_photograph(written.getvalue(), "pixels").shown)
    grey = shown.convert("L").resize((1, 1), Image.Resampling.BOX).getpixel((0, 0))
    assert shown.mode == "RGB" and isinstance(grey, int | float)
    assert 115 <= grey <= 140


def test_colours_are_those_of_the_picture_s_own_profile() -> None:
    """A picture whose profile swaps nothing looks the same; a damaged profile costs no picture."""
    written = io.BytesIO()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.new("RGB", (30, 20), (200, 60, 20)).save(written, "PNG", icc_profile=profile)
    for content in (written.getvalue(), written.getvalue().replace(b"acsp", b"xxxx")):
        pixel = opened(read_photograph(content, "profile.png").shown).getpixel((5, 5))
        assert isinstance(pixel, tuple)
        assert all(abs(a - b) <= 3 for a, b in zip(pixel, (200, 60, 20), strict=True))


def test_a_large_one_is_made_small_and_kept_as_it_came() -> None:
    content = drawn_photograph((3000, 1500), orientation=6)
    read = read_photograph(content, "large.jpg")
    assert (read.width, read.height) == (3000, 1500)
    assert opened(read.shown).size == (LONGEST_SIDE, LONGEST_SIDE // 2)
    assert read.content == content


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (png_of(60_000, 60_000), "more than 100,000,000 pixels"),
        (png_of(10_001, 10_000), "more than 100,000,000 pixels"),
        (png_of(9_000, 9_000), "would unfold to 243,000,000 bytes"),
        (b"\xff\xd8\xff" + b"\0" * 500, "it begins as a picture and is none"),
        (drawn_photograph()[:400], "cannot be read"),
        (b"GIF89a" + b"\0" * 100, "is no JPEG or PNG picture: send it as one of these$"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 100, "which can send JPEG too"),
        (b"\xff\xd8\xff" + b"\0" * LARGEST, "at most 15,000,000: send a smaller one"),
        (b"", "is no JPEG or PNG picture"),
    ],
    ids=["bomb", "pixels", "unfolds", "head", "cut", "gif", "heic", "bytes", "nothing"],
)
def test_what_is_no_photograph_or_a_bomb_is_one_sentence(content: bytes, why: str) -> None:
    with pytest.raises(FileError, match=why) as refused:
        read_photograph(content, "sent.png")
    assert str(refused.value).startswith("sent.png ") and "\n" not in str(refused.value)


def test_a_damaged_head_costs_its_facts_and_not_the_picture() -> None:
    content = drawn_photograph()
    place = content.index(b"Exif\0\0") + 6
    damaged = content[:place] + b"MM\0*\xff\xff\xff\xff" + content[place + 8 :]
    read = read_photograph(damaged, "damaged.jpg")
    assert opened(read.shown).size == (320, 200)
    assert read.taken_on is None


def test_webp_is_shown_where_it_is_asked_for() -> None:
    written = io.BytesIO()
    Image.new("RGB", (30, 20)).save(written, "WEBP")
    assert read_photograph(written.getvalue(), "a.webp", tuple(KINDS)).kind == "WEBP"
    with pytest.raises(FileError, match="no JPEG or PNG"):
        read_photograph(written.getvalue(), "a.webp")
