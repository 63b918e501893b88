"""One server for all tests that only read."""

from collections.abc import Iterator

import pytest

from pricing.api.client import Client
from pricing.store.market import Market
from tests.api.servers import serving


@pytest.fixture(scope="session")
def address(small_market: Market) -> Iterator[str]:
    with serving(small_market.path) as found:
        yield found


@pytest.fixture(scope="session")
def client(address: str) -> Iterator[Client]:
    with Client(address) as made:
        yield made
