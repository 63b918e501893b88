"""What everybody in the trade says of a modest, plentiful small saloon (common practice, no source), entered
as opinions of an invented car, comes back as those bands."""

from pathlib import Path

import polars as pl
import pytest

from pricing.model.market_fit import fit_market
from pricing.vocabulary import CONDITION_BANDS
from tests.opinion_market import COMMON_BANDS, opinion_market


@pytest.fixture(scope="module")
def ranges(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    model = fit_market(opinion_market(tmp_path_factory.mktemp("bands") / "market.duckdb"))
    cars = pl.DataFrame({"make": "Corvane", "model": "Six", "year": 1966, "condition_band": CONDITION_BANDS})
    return cars.hstack(model.price_range(cars))


@pytest.mark.parametrize("band", CONDITION_BANDS)
def test_stated_bands_come_back(ranges: pl.DataFrame, band: str) -> None:
    low, high = COMMON_BANDS[band]
    found = ranges.filter(pl.col("condition_band") == band).row(0, named=True)
    assert found["high"] == pytest.approx(float(high or 0), rel=1e-9)
    if low is not None:
        assert found["low"] == pytest.approx(float(low), rel=1e-9)
    assert found["evidence"] == "opinion alone" and found["reason"] is None


def test_a_better_state_is_never_cheaper(ranges: pl.DataFrame) -> None:
    for end in ("low", "mid", "high"):
        assert ranges[end].is_sorted()


def test_several_sources_are_an_even_mixture(tmp_path: Path) -> None:
    """Mean and variance of the log price are those of the linear pool (Stone 1961), by hand."""
    import numpy as np
    from scipy.stats import norm

    from tests.opinion_market import cells

    market = opinion_market(tmp_path / "market.duckdb")
    market.statements.add(cells({"average": ("4000", "6000")}, source="B. Lane", holds="half"))
    car = pl.DataFrame({"make": ["Corvane"], "model": ["Six"], "condition_band": ["average"]})
    found = fit_market(market).distribution(car)
    middles = np.log([np.sqrt(3000 * 5000), np.sqrt(4000 * 6000)])
    spreads = np.array([np.log(5000 / 3000) / 2 / norm.ppf(0.9), np.log(6000 / 4000) / 2 / norm.ppf(0.75)])
    assert np.log(found.mid[0]) == pytest.approx(middles.mean())
    assert found.spread[0, 0] == pytest.approx(np.sqrt((spreads**2).mean() + middles.var()))
