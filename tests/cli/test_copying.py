"""A server's address in the place of a market file, on the command line."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from pricing.cli.main import app
from pricing.store.market import Market
from tests.store.test_market import write


def test_a_market_is_copied_to_a_server_worked_on_and_copied_back(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "copies"))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)
    Market.open("market.duckdb").load([write(tmp_path / "notes.csv", {})])
    write(tmp_path / "more.csv", {"amount": "7000"})

    def run(*words: str) -> str:
        done = CliRunner().invoke(app, words, catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    assert "both markets have the digest" in run("copy", "market.duckdb", address)
    assert "1 accepted" in run("load", "more.csv", "--market", address)
    monkeypatch.setenv("PRICING_MARKET", address)
    assert "batch-0002" in run("batches")
    run("copy", address, "back.duckdb")
    assert Market.open("back.duckdb").sales().height == 2
