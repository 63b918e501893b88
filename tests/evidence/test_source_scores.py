from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pricing.evidence.source_scores import FEWEST, score_sources
from pricing.opinions.expert_judgement import calibration
from pricing.store.market import Market
from pricing.words.opinions import score_sentence
from tests.known_market import _sale
from tests.opinion_market import cells

STATED = date(2026, 5, 1)


def sales(prices: list[float], **said: Any) -> pl.DataFrame:
    rows = [
        _sale(
            place,
            price=price,
            event_date=STATED + timedelta(1 + place),
            **{"condition_band": "average"} | said,
        )
        for place, price in enumerate(prices)
    ]
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"condition_score": pl.Float64})


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    market = Market.open(Path(tmp_path_factory.mktemp("scores")) / "market.duckdb")
    market.statements.add(cells())
    market.statements.add(cells({"average": ("3000", "5000")}, source="B. Lane", holds="half"))
    return market.opinions()


def test_shares_interval_and_bias_by_hand(said: pl.DataFrame) -> None:
    """Eight of ten inside; middle sqrt(3000 x 5000)."""
    prices = [2500.0, *np.linspace(3100.0, 4900.0, 8), 6000.0]
    found = score_sources(said, sales(prices))
    row = found.sources.filter(pl.col("source") == "A. Rowe").row(0, named=True)
    assert (row["sales"], row["held"], row["meant"], row["tells"]) == (10, 0.8, 0.8, True)
    assert (round(row["held_low"], 4), round(row["held_high"], 4)) == (0.4439, 0.9748)  # Clopper and Pearson
    middle = np.log(np.sqrt(3000.0 * 5000.0))
    assert row["bias"] == pytest.approx(np.exp(np.mean(middle - np.log(prices))) - 1.0)
    shares = np.array([0.1, 0.8, 0.1])
    assert row["calibration"] == pytest.approx(calibration([(np.array([1.0, 8.0, 1.0]), shares)]))
    other = found.sources.filter(pl.col("source") == "B. Lane").row(0, named=True)
    assert other["meant"] == 0.5 and other["calibration"] < row["calibration"]
    assert other["pinball"] > 0 and other["model_pinball"] is None


def test_with_few_sales_it_says_that_it_cannot_tell(said: pl.DataFrame) -> None:
    found = score_sources(said, sales([4000.0] * (FEWEST - 1)))
    row = found.sources.row(0, named=True)
    assert not row["tells"]
    assert score_sentence(row) == (
        "A. Rowe: 9 sales came after what was said of such cars; fewer than 10 cannot tell how good it was."
    )
    none = score_sources(said, sales([4000.0], model="Four"))
    assert none.sources["sales"].to_list() == [0, 0] and not none.sources["tells"].any()


def test_sales_of_before_of_other_states_and_unsold_ones_do_not_count(said: pl.DataFrame) -> None:
    before = sales([4000.0]).with_columns(event_date=pl.lit(STATED))
    ungraded = sales([4000.0], condition_band=None)
    unsold = sales([4000.0], outcome="unsold")
    for frame in (before, ungraded, unsold):
        assert score_sources(said, frame).pairs.is_empty()
    assert score_sources(said, sales([4000.0], condition_band=None, condition_score=60.0)).pairs.height == 2


def test_prices_are_brought_to_the_day_of_the_statement(said: pl.DataFrame) -> None:
    moved = score_sources(said, sales([6000.0]), lambda pairs: pl.Series([0.75] * pairs.height))
    assert moved.pairs["inside"].all() and moved.pairs["price"].to_list() == [4500.0] * 2


def test_bias_is_told_by_band_and_by_price(said: pl.DataFrame) -> None:
    dear = sales([9000.0] * 3, condition_band="top condition")
    dear = dear.with_columns(record_id=pl.format("dear {}", "record_id"))
    frame = pl.concat([sales([4000.0] * 3), dear])
    found = score_sources(said, frame)
    bands = found.bias_by("condition_band").filter(pl.col("source") == "A. Rowe")
    assert bands["part"].to_list() == ["average", "top condition"] and bands["sales"].to_list() == [3, 3]
    thirds = found.bias_by("price")
    assert set(thirds["part"]) == {"cheapest third", "middle third", "dearest third"}


def test_beside_the_price_models_own_loss(said: pl.DataFrame) -> None:
    frame = sales([4000.0] * 12)
    scored = frame.select("record_id").with_columns(pinball=pl.lit(50.0))[:6]
    row = score_sources(said, frame, scored=scored).sources.row(0, named=True)
    assert (row["both"], row["model_pinball"]) == (6, 50.0)
    assert "On 6 of them the pinball loss was" in score_sentence(row)
