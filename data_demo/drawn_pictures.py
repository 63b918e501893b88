"""The pictures of the example appraisal: drawn by code, with the words that a camera would write into its
files. `python -m data_demo.drawn_pictures` writes them anew."""

import io
from pathlib import Path
from typing import Any, Final

from PIL import Image, ImageDraw

FOLDER: Final = Path(__file__).parent / "appraisals"
CAR: Final = "wexcombe_sedge_side.jpg"
GEARBOX: Final = "wexcombe_sedge_gearbox.jpg"

_SIZE: Final = (1000, 625)
_FINER: Final = 3
"""Times as large as a picture is drawn before it is made small, for smooth edges."""

_GREEN, _GREY, _DARK, _GLASS = (74, 112, 84), (150, 152, 148), (34, 36, 38), (196, 212, 216)
_STEEL, _OIL = (128, 130, 132), (58, 40, 18)


def write() -> None:
    """Write both files."""
    (FOLDER / CAR).write_bytes(_photograph(side_view(), "2026:06:24 09:41:00"))
    # As a camera held upright writes it: lying on its side, with the word that turns it.
    (FOLDER / GEARBOX).write_bytes(_photograph(gearbox_from_below(), "2026:06:24 10:26:30", lying=True))


def side_view() -> Image.Image:
    """A saloon from its right side on a yard."""
    scene, pen = _scene((206, 214, 220), (168, 164, 156), 430)
    _ellipse(pen, (120, 462, 900, 510), (140, 136, 128))
    body = ((105, 455), (112, 380), (150, 345), (330, 330), (415, 232), (640, 228), (735, 318), (870, 338),
            (905, 385), (905, 455))  # fmt: skip
    _polygon(pen, body, _GREEN)
    _polygon(pen, ((108, 455), (110, 410), (905, 410), (905, 455)), _GREY)
    for glass in (((352, 328), (424, 246), (520, 244), (520, 328)), ((534, 328), (534, 244), (630, 242),
                  (702, 322), (702, 328))):  # fmt: skip
        _polygon(pen, glass, _GLASS)
    for line in (((527, 240), (527, 440)), ((340, 336), (340, 440)), ((708, 328), (690, 440)),
                 ((110, 410), (905, 410))):  # fmt: skip
        _line(pen, line, (52, 78, 60), 3)
    for handle in (470, 650):
        _line(pen, ((handle, 362), (handle + 36, 362)), (225, 228, 230), 6)
    _line(pen, ((90, 432), (150, 432)), (228, 230, 232), 10)
    _line(pen, ((872, 432), (928, 432)), (228, 230, 232), 10)
    _ellipse(pen, (104, 366, 132, 396), (244, 240, 214))
    _ellipse(pen, (888, 372, 908, 398), (176, 40, 34))
    for hub in (245, 770):
        _ellipse(pen, (hub - 72, 386, hub + 72, 530), (46, 60, 50))
        _ellipse(pen, (hub - 64, 396, hub + 64, 524), _DARK)
        _ellipse(pen, (hub - 36, 424, hub + 36, 496), (206, 208, 210))
        _ellipse(pen, (hub - 13, 447, hub + 13, 473), (150, 152, 154))
    return scene.resize(_SIZE, Image.Resampling.LANCZOS)


def gearbox_from_below() -> Image.Image:
    """A gearbox from below, with oil at its rear and a drop about to fall."""
    scene, pen = _scene((92, 84, 76), (70, 64, 58), 500)
    _polygon(pen, ((80, 250), (420, 215), (420, 445), (80, 410)), (104, 106, 108))
    _polygon(pen, ((420, 225), (700, 262), (700, 398), (420, 435)), _STEEL)
    for rib in range(450, 700, 42):
        _line(pen, ((rib, 240 + (rib - 420) // 8), (rib, 422 - (rib - 420) // 8)), (104, 106, 108), 5)
    _polygon(pen, ((700, 292), (975, 300), (975, 360), (700, 368)), (84, 86, 88))
    for bolt in ((440, 250), (440, 410), (560, 262), (560, 400), (680, 276), (680, 384)):
        _ellipse(pen, (bolt[0] - 11, bolt[1] - 11, bolt[0] + 11, bolt[1] + 11), (176, 178, 180))
    _ellipse(pen, (640, 330, 820, 420), _OIL)
    _polygon(pen, ((694, 398), (716, 398), (711, 452), (699, 452)), _OIL)
    _ellipse(pen, (692, 440, 718, 482), _OIL)
    _ellipse(pen, (699, 450, 706, 460), (150, 120, 70))
    return scene.resize(_SIZE, Image.Resampling.LANCZOS)


def _photograph(picture: Image.Image, taken: str, *, lying: bool = False) -> bytes:
    """A JPEG with what a camera writes: its name, the time, and a place, nought by nought in the ocean."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x0110] = (6 if lying else 1), "Invented Optics", "Nought"
    exif.get_ifd(0x8769)[0x9003] = taken
    exif.get_ifd(0x8825).update({1: "N", 2: (0.0, 0.0, 0.0), 3: "E", 4: (0.0, 0.0, 0.0)})
    written = io.BytesIO()
    turned = picture.transpose(Image.Transpose.ROTATE_90) if lying else picture
    turned.save(written, "JPEG", quality=78, optimize=True, exif=exif)
    return written.getvalue()


def _scene(sky: tuple[int, ...], ground: tuple[int, ...], horizon: int) -> tuple[Image.Image, Any]:
    scene = Image.new("RGB", (_SIZE[0] * _FINER, _SIZE[1] * _FINER), sky)
    pen = ImageDraw.Draw(scene)
    pen.rectangle((0, horizon * _FINER, *scene.size), fill=ground)
    return scene, pen


def _polygon(pen: Any, points: tuple[tuple[int, int], ...], fill: tuple[int, ...]) -> None:
    pen.polygon([(x * _FINER, y * _FINER) for x, y in points], fill=fill)


def _ellipse(pen: Any, box: tuple[int, ...], fill: tuple[int, ...]) -> None:
    pen.ellipse(tuple(part * _FINER for part in box), fill=fill)


def _line(pen: Any, points: tuple[tuple[int, int], ...], fill: tuple[int, ...], width: int) -> None:
    pen.line([(x * _FINER, y * _FINER) for x, y in points], fill=fill, width=width * _FINER)


if __name__ == "__main__":
    write()
