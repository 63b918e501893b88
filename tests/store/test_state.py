"""The state of a market file: it moves with what may change a sale, and with nothing else."""

from pathlib import Path

from pricing.store.market import Market
from tests.small_market import write_sales


def test_it_moves_with_records_and_tells_a_fit_that_is_older(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    empty = market.state()
    assert (empty.batches, empty.fit, empty.stale) == (0, None, False)
    write_sales(tmp_path / "sales.parquet", rows=60)
    market.load([tmp_path / "sales.parquet"])
    loaded = market.state()
    assert loaded.records != empty.records
    assert loaded.batches == 1
    market.store_fit(b"fit", {})
    fitted = market.state()
    assert (fitted.records, fitted.fit, fitted.stale) == (loaded.records, "fit-0001", False)
    market.keep_settings({"country": "DE"})
    set_up = market.state()
    assert (set_up.records, set_up.fit, set_up.settings) == (fitted.records, fitted.fit, {"country": "DE"})
    names = market.sales().row(0, named=True)
    market.settle_name("make", names["make"], "Corvane")
    renamed = market.state()
    assert renamed.records != fitted.records
    assert renamed.stale
    market.undo("batch-0001")
    assert market.state().batches == 0


def test_settings_are_texts_of_which_the_last_is_in_force(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    assert market.state().settings == {}
    market.keep_settings({"country": "DE", "roles": "{}"})
    market.keep_settings({"country": "FR", "roles": None})
    assert market.state().settings == {"country": "FR"}
    assert market.audit()["action"].to_list() == ["setting"] * 4
