"""Scores kept in a market come back as they were, with the fit and the day they are of."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from polars.testing import assert_frame_equal

from pricing.errors import ModelError
from pricing.model.accuracy.backtest import Backtest, backtest, rolling_origins
from pricing.model.accuracy.saved_scores import load_scores, save_scores
from pricing.model.features.spec import FeatureSpec
from pricing.store.market import Market
from tests.small_market import write_sales


@pytest.fixture(scope="module")
def scored(small_market: Market) -> Backtest:
    sales, spec = small_market.sales(), FeatureSpec.cars()
    return backtest(sales, spec, rolling_origins(sales, spec, 1), known=small_market.sales)


@pytest.fixture
def market(small_market: Market, tmp_path: Path) -> Market:
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    return Market.open(copy)


def test_they_come_back_as_they_were_until_others_take_their_place(scored: Backtest, market: Market) -> None:
    assert load_scores(market) is None
    state = market.state()
    assert state.fit is not None
    fewer = Backtest(scored.rows.head(50), scored.origins, scored.parts)
    for kept in (fewer, scored):
        save_scores(kept, market, state.fit, state.records)
        found = load_scores(Market.open(market.path))
        assert found is not None
        assert (found.scored.origins, found.scored.parts) == (kept.origins, kept.parts)
        assert_frame_equal(found.scored.rows, kept.rows)
        assert_frame_equal(found.scored.summary(), kept.summary())
        assert (found.fit_id, found.outdated) == (state.fit, False)
        assert abs(found.at.replace(tzinfo=UTC) - datetime.now(UTC)) < timedelta(minutes=5)
    assert market.audit()["action"].to_list().count("score") == 2


def test_they_are_outdated_once_records_have_come_in(
    scored: Backtest, market: Market, tmp_path: Path
) -> None:
    state = market.state()
    save_scores(scored, market, str(state.fit), state.records)
    write_sales(tmp_path / "more.parquet", rows=700)
    market.load([tmp_path / "more.parquet"])
    found = load_scores(market)
    assert found is not None and found.outdated


def test_altered_scores_are_refused(scored: Backtest, market: Market) -> None:
    state = market.state()
    save_scores(scored, market, str(state.fit), state.records)
    row = market.scores.last()
    assert row is not None
    *_, facts, payload = row
    for changed in (payload[:-1], payload[:99] + bytes([payload[99] ^ 1]) + payload[100:], b""):
        market.scores.keep(str(state.fit), state.records, facts, changed)
        with pytest.raises(ModelError, match="score anew"):
            load_scores(market)
    market.scores.keep(str(state.fit), state.records, facts | {"format": "of tomorrow"}, payload)
    with pytest.raises(ModelError, match="score anew"):
        load_scores(market)
