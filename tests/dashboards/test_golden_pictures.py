"""The answer looks as it was kept, on a phone and on a desk, in light and dark.

``PRICING_GOLDEN=write`` keeps pictures anew, for a person to look at.
"""

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser

from tests.dashboards.browser import wait_until_shown, wait_until_still, window

pytestmark = pytest.mark.browser

GOLDEN = Path(__file__).with_name("golden")
SIZES = {"phone": (390, 844), "desk": (1440, 900)}
COLOURS = 64
UNLIKE = 0.03
"""Share of pixels that may differ by more than a tenth of the scale: letters are drawn a little otherwise by
another version of a browser."""


@pytest.mark.parametrize("size", SIZES)
def test_the_answer_looks_as_it_was_kept(
    size: str, browser: Browser, base: str, query: str, tmp_path: Path
) -> None:
    with window(SIZES[size], browser) as (opened, _):
        opened.set_viewport_size({"width": SIZES[size][0], "height": 1500})
        for scheme in ("light", "dark"):
            opened.emulate_media(color_scheme=scheme)
            opened.goto(f"{base}/?{query}")  # a chart takes its colours from the scheme that it is made in
            wait_until_shown(opened)
            opened.get_by_role("heading", name="What is it for?").wait_for()
            wait_until_still(opened, 700)
            opened.screenshot(path=tmp_path / f"{scheme}.png")
    for scheme in ("light", "dark"):
        compare(tmp_path / f"{scheme}.png", GOLDEN / f"answer_{size}_{scheme}.png")


def compare(taken: Path, kept: Path) -> None:
    """Hold a picture against the kept one, or keep it."""
    with Image.open(taken) as picture:
        seen = picture.convert("RGB").quantize(COLOURS)
    if os.environ.get("PRICING_GOLDEN") == "write":
        GOLDEN.mkdir(exist_ok=True)
        seen.save(kept, optimize=True)
    with Image.open(kept) as picture:
        golden = np.asarray(picture.convert("L"), dtype=float)
    found = np.asarray(seen.convert("L"), dtype=float)
    assert found.shape == golden.shape
    assert float((np.abs(found - golden) > 25.5).mean()) <= UNLIKE, f"look at {taken}"
