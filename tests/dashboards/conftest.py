"""A market of one's own, and one that real browsers look at, with its dashboard."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser

from pricing.operations.serving import address
from pricing.store.market import Market
from tests.dashboards.browser import chromium, launched, served
from tests.ports import free_port
from tests.small_market import common_car


@pytest.fixture(autouse=True)
def failures(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw on a page is a test's failure, other than where that is what it is about."""
    if not request.node.name.startswith("test_a_page_says_a_code"):
        monkeypatch.setattr("dashboards.page_layout.show_failure", _raised)


def _raised(error: BaseException) -> None:
    raise error


@pytest.fixture
def market(small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Market:
    """A market that may be written to, in use."""
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    monkeypatch.setenv("PRICING_MARKET", str(copy))
    return Market.open(copy)


@pytest.fixture
def car(small_market: Market) -> dict[str, Any]:
    """A car of which there are many sales."""
    return common_car(small_market)


@pytest.fixture(scope="package")
def browsed(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    """The small market for browsers; what they do stays in it, as in a market that many work in."""
    copy = tmp_path_factory.mktemp("browsed") / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    return Market.open(copy)


@pytest.fixture(scope="package")
def base(browsed: Market) -> Iterator[str]:
    """The address of its dashboard."""
    chromium()
    with served(browsed.path, free_port()) as found:
        yield found.rstrip("/")


@pytest.fixture(scope="package")
def query(browsed: Market) -> str:
    """What an address says of a common car at an asking price of EUR 5,000."""
    return urlsplit(address(0, common_car(browsed), Decimal(5000))).query


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A browser; each test opens a window of its own in it."""
    with launched(chromium()) as made:
        yield made
