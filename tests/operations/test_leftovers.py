"""Folders of killed runs go, and no others."""

import os
import time
from pathlib import Path

import pytest

from pricing.errors import MarketError
from pricing.operations.serving import OLD_SECONDS, remove_leftovers
from pricing.store.market import Market


def test_old_folders_of_ones_own_go_and_nothing_else(tmp_path: Path) -> None:
    for name in ("pricing-old", "pricing-new", "pricing-keys-0", "another", "kept"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "upload.csv").write_text("make\n")
    (tmp_path / "pricing-link").symlink_to(tmp_path / "kept")
    long_ago = time.time() - OLD_SECONDS - 60
    for name in ("pricing-old", "pricing-keys-0", "another", "kept"):
        os.utime(tmp_path / name, (long_ago, long_ago))
    os.utime(tmp_path / "pricing-link", (long_ago, long_ago), follow_symlinks=False)
    assert remove_leftovers(tmp_path) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "another", "kept", "pricing-keys-0", "pricing-link", "pricing-new",
    ]  # fmt: skip
    assert (tmp_path / "kept" / "upload.csv").exists()


def test_a_folder_of_keys_that_others_may_write_to_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    market = Market.open(tmp_path / "market.duckdb")
    with market.answers.key_held("a key") as mine:
        assert mine
    (folder,) = tmp_path.glob("pricing-keys-*")
    folder.chmod(0o777)
    with (
        pytest.raises(MarketError, match="not a folder of this user alone"),
        market.answers.key_held("a key"),
    ):
        pass


def test_a_server_named_beside_a_market_of_a_stranger_is_not_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PGPASSWORD", "secret")
    Market.open(tmp_path / "market.duckdb")
    (tmp_path / "server-address").write_text("postgresql://192.0.2.1/cars")
    with pytest.raises(MarketError, match="is not believed"):
        Market.open(tmp_path / "market.duckdb")
