"""The palette can be read and told apart, in light and dark, by people of any colour vision."""

import itertools
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from pricing.arrays import Floats
from pricing.charts.design import DARK, HEADS, LIGHT, TEXT, TYPEFACES, Palette, streamlit_theme

BOTH = pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
SETTINGS = Path(__file__).parents[2] / "dashboards" / ".streamlit" / "config.toml"

SEEN_BY = {
    "normal vision": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
"""Machado, Oliveira and Fernandes (2009), table of severity 1.0, on linear RGB; from memory."""

TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""IEC 61966-2-1 (sRGB), D65."""

APART = 18.0
"""Distance of two colours in CIELAB (1976) that nobody takes for one another; 2.3 can just be told."""


def linear(colour: str) -> Floats:
    """WCAG 2.2, relative luminance: the channels without their gamma."""
    channels = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    lights = sorted(float(linear(colour) @ TO_XYZ[1]) for colour in (one, other))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(colour: str, vision: Floats) -> Floats:
    """CIELAB of what an eye sees (CIE 15, D65)."""
    xyz = TO_XYZ @ np.clip(vision @ linear(colour), 0, 1) / np.array([0.95047, 1.0, 1.08883])
    root = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def test_contrast_is_reckoned_as_the_standard_says() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the usual example of a bare pass


@BOTH
@pytest.mark.parametrize("ground", ["paper", "card"])
def test_text_can_be_read(palette: Palette, ground: str) -> None:
    on = getattr(palette, ground)
    for name in ("ink", "quiet", "main", "asked"):
        assert contrast(getattr(palette, name), on) >= 4.5, name  # WCAG 2.2, 1.4.3
    assert contrast(palette.pale, on) >= 3.0  # 1.4.11
    assert contrast(palette.paper, palette.main) >= 4.5  # words on what is pressed


@BOTH
@pytest.mark.parametrize("vision", SEEN_BY)
def test_colours_that_mean_something_are_told_apart(palette: Palette, vision: str) -> None:
    seen = {name: lab(getattr(palette, name), SEEN_BY[vision]) for name in ("main", "pale", "asked", "paper")}
    for one, other in itertools.combinations(seen, 2):
        assert float(np.linalg.norm(seen[one] - seen[other])) >= APART, (vision, one, other)


def test_streamlits_settings_say_the_same() -> None:
    theme = tomllib.loads(SETTINGS.read_text(encoding="utf-8"))["theme"]
    for name, wanted in streamlit_theme().items():
        told = theme[name]
        assert told == wanted if isinstance(wanted, str) else wanted.items() <= told.items(), name


def test_both_typefaces_ship_with_their_licence() -> None:
    theme = tomllib.loads(SETTINGS.read_text(encoding="utf-8"))["theme"]
    assert {face["family"] for face in theme["fontFaces"]} == {HEADS, TEXT}
    static = SETTINGS.parents[1] / "static"
    for face in theme["fontFaces"]:
        assert (static / face["url"].removeprefix("app/static/")).read_bytes()[:4] == b"wOF2"
    for folder in (static, TYPEFACES):
        licences = [path.read_text(encoding="utf-8") for path in folder.glob("*LICENSE.txt")]
        assert len(licences) == 2
        assert all("SIL Open Font License, Version 1.1" in text for text in licences)


def test_no_page_or_chart_has_a_colour_of_its_own() -> None:
    root = Path(__file__).parents[2]
    own = [
        f"{path.relative_to(root)}: {found}"
        for folder in ("dashboards", "pricing/charts")
        for path in (root / folder).rglob("*.py")
        if path.name != "design.py"
        for found in re.findall(r"#[0-9A-Fa-f]{6}\b", path.read_text(encoding="utf-8"))
    ]
    assert own == []
