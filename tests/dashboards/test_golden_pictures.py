"""The answer looks as it was kept, on a phone and on a desk, in light and dark.

``PRICING_GOLDEN=write`` keeps pictures anew, for a person to look at.
"""

import os
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser

from pricing.operations.serving import address
from pricing.store.market import Market
from tests.dashboards.browser import chromium, served, wait_until_shown, wait_until_still, window
from tests.ports import free_port
from tests.small_market import common_car

pytestmark = pytest.mark.browser

GOLDEN = Path(__file__).with_name("golden")
SIZES = {"phone": (390, 844), "desk": (1440, 900)}
COLOURS = 64
UNLIKE = 0.03
"""Share of pixels that may differ by more than a tenth of the scale: letters are drawn a little otherwise by
another version of a browser."""


@pytest.fixture(scope="module")
def quiet_base(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A market of its own, to which nobody adds."""
    copy = tmp_path_factory.mktemp("golden") / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    chromium()
    with served(copy, free_port()) as found:
        yield found.rstrip("/")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_the_answer_looks_as_it_was_kept(
    size: str, scheme: str, browser: Browser, quiet_base: str, small_market: Market, tmp_path: Path
) -> None:
    query = urlsplit(address(0, common_car(small_market), Decimal(5000))).query
    with window(SIZES[size], browser) as (opened, _):
        opened.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        opened.goto(f"{quiet_base}/?{query}")
        wait_until_shown(opened)
        opened.get_by_role("heading", name="What is it for?").wait_for()
        opened.set_viewport_size({"width": SIZES[size][0], "height": 1500})
        wait_until_still(opened, 1000)
        opened.screenshot(path=tmp_path / "seen.png")
    kept = GOLDEN / f"answer_{size}_{scheme}.png"
    with Image.open(tmp_path / "seen.png") as picture:
        seen = picture.convert("RGB").quantize(COLOURS)
    if os.environ.get("PRICING_GOLDEN") == "write":
        GOLDEN.mkdir(exist_ok=True)
        seen.save(kept, optimize=True)
    with Image.open(kept) as picture:
        golden = np.asarray(picture.convert("L"), dtype=float)
    found = np.asarray(seen.convert("L"), dtype=float)
    assert found.shape == golden.shape
    assert float((np.abs(found - golden) > 25.5).mean()) <= UNLIKE, f"look at {tmp_path / 'seen.png'}"
