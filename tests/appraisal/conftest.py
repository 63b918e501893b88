"""An appraisal in a market of its own, made once for this folder; its tests revise, and never delete."""

import pytest

from pricing.appraisal.register import Entry
from pricing.store.market import Market
from tests.appraisals import appraised_market, full_entry


@pytest.fixture(scope="session")
def market(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    return appraised_market(small_market, tmp_path_factory.mktemp("appraised"))


@pytest.fixture(scope="session")
def entry(market: Market) -> Entry:
    return full_entry(market)
