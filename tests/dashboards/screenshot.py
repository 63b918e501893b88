"""Make README's pictures: ``python -m tests.dashboards.screenshot demo.duckdb dashboards``."""

import sys
from decimal import Decimal
from pathlib import Path
from urllib.parse import urlsplit

from PIL import Image

import data_demo
from pricing.operations.serving import address
from tests.dashboards.browser import (
    PHONE,
    chromium,
    launched,
    served,
    shot,
    wait_until_shown,
    wait_until_still,
    window,
)  # fmt: skip

START = (1180, 1330)
APPRAISAL = (1180, 900)
PORT = 8571
COLOURS = 96
"""Of each picture, which keeps it small."""


def main(market: Path, folder: Path) -> None:
    """Serve the market and keep pictures of the example car's answer, on a desk and on a phone, and of the
    first appraisal that the market holds."""
    car = data_demo.example_car()
    asking = Decimal(str(car.pop("asking")))
    query = urlsplit(address(PORT, car, asking)).query
    with served(market, PORT) as base, launched(chromium()) as browser:
        for name, size in (("position", START), ("phone", PHONE)):
            with window(size, browser) as (opened, _):
                opened.goto(f"{base}?{query}")
                wait_until_shown(opened)
                if name == "phone":
                    opened.get_by_test_id("stMetric").first.scroll_into_view_if_needed()
                opened.wait_for_timeout(1000)
                shot(opened, folder / f"{name}.png", whole=False)
        with window(APPRAISAL, browser) as (opened, _):
            opened.goto(f"{base}appraisals?appraisal=appraisal-0001")
            opened.get_by_text("appraisal-0001").first.wait_for()
            wait_until_still(opened)
            opened.wait_for_timeout(1000)
            shot(opened, folder / "appraisal.png", whole=False)
    for name in ("position", "phone", "appraisal"):
        with Image.open(folder / f"{name}.png") as picture:
            small = picture.convert("RGB").quantize(COLOURS)
        small.save(folder / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
