"""Fixtures that more than one room's tests use."""

from pathlib import Path

import pytest

from pricing.store import Market
from tests.small_market import make_market


@pytest.fixture(scope="session")
def small_market(tmp_path_factory: pytest.TempPathFactory) -> Market:
    """A small market with a fit; tests read it and never write to it."""
    return make_market(Path(tmp_path_factory.mktemp("market")) / "small.duckdb")
