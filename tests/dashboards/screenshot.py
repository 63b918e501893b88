"""Make README's picture: ``python -m tests.dashboards.screenshot demo.duckdb dashboards/position.png``."""

import sys
from decimal import Decimal
from pathlib import Path
from urllib.parse import urlsplit

import data_demo
from pricing.operations.serving import address
from tests.dashboards.browser import chromium, page, served, shot, wait_until_shown

SIZE = (1180, 1330)
PORT = 8571


def main(market: Path, picture: Path) -> None:
    """Serve the market, choose the example car, and keep a picture of the answer."""
    car = data_demo.example_car()
    asking = Decimal(str(car.pop("asking")))
    query = urlsplit(address(PORT, car, asking)).query
    with served(market, PORT) as base, page(SIZE, chromium()) as (opened, _):
        opened.goto(f"{base}?{query}")
        wait_until_shown(opened)
        opened.wait_for_timeout(1000)
        shot(opened, picture, whole=False)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
