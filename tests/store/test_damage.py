"""A market file of which a bit was flipped: found, said in one sentence, and what can be read is saved."""

import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pricing.cli.main import app
from pricing.errors import DamagedError, MarketError, PricingError
from pricing.operations.backups import back_up
from pricing.operations.doctor import BROKEN, examine
from pricing.store.market import Market
from pricing.store.salvage import read_every_page, salvage

BLOCK = 262_144
"""Bytes of a block of a DuckDB file; three heads of 4,096 stand before the first (DuckDB documentation,
"Storage versions and format")."""
HEADS = 3 * 4096

SEEDS = [random.Random(seed) for seed in range(3)]  # noqa: S311 - where to damage, no secret
COMMANDS = (
    ["batches"], ["quarantine"], ["duplicates"], ["suspicions"], ["names"], ["depth"], ["fits"], ["doctor"],
    ["doctor", "--deep"],
)  # fmt: skip


def flipped(source: Path, target: Path, rng: random.Random) -> Path:
    """A copy of a file with one bit of it flipped, in a block."""
    raw = bytearray(source.read_bytes())
    place = rng.randrange(HEADS, len(raw))
    raw[place] ^= 1 << rng.randrange(8)
    target.write_bytes(raw)
    return target


def damaged(source: Path, folder: Path, rng: random.Random, count: int) -> Iterator[Path]:
    """Copies in which a flipped bit stands in a page that is in use."""
    while count:
        path = flipped(source, folder / "damaged.duckdb", rng)
        try:
            Market.open(path, create=False)
            read_every_page(path)
        except PricingError:
            count -= 1
            yield path


@pytest.mark.soak
def test_a_flipped_bit_is_one_sentence_at_every_command(small_market: Any, tmp_path: Path) -> None:
    for path in damaged(small_market.path, tmp_path, SEEDS[0], 1):
        for words in COMMANDS:
            done = CliRunner().invoke(app, [*words, "--market", str(path)])
            assert done.exception is None or isinstance(done.exception, PricingError | SystemExit), words
            assert "Traceback" not in done.output
        found = [finding for finding in examine(path, deep=True) if finding.state == BROKEN]
        assert found and all("\n" not in finding.found for finding in found)
        with pytest.raises(PricingError, match="damaged"):
            back_up(path, tmp_path / "never.zip")
        assert not (tmp_path / "never.zip").exists()


@pytest.mark.soak
def test_what_can_be_read_is_saved_and_what_was_lost_is_named(small_market: Any, tmp_path: Path) -> None:
    whole = read_every_page(small_market.path)
    saved_once = 0
    for number, path in enumerate(damaged(small_market.path, tmp_path, SEEDS[1], 3)):
        target = tmp_path / f"saved {number}.duckdb"
        try:
            saved = salvage(path, target, base_currency="EUR")
        except DamagedError:
            assert not target.exists()  # it cannot even be opened
            continue
        saved_once += 1
        market = Market.open(target, create=False)
        kept = read_every_page(target)
        assert kept["audit"] == saved.rows["audit"] + 1
        assert all(kept[name] == rows for name, rows in saved.rows.items() if name != "audit")
        short = [name for name, rows in whole.items() if saved.rows[name] < rows]
        assert all(any(lost.startswith(name) for lost in saved.lost) for name in short)
        market.sales()
    assert saved_once


def test_salvage_of_a_whole_market_loses_nothing(small_market: Any, tmp_path: Path) -> None:
    saved = salvage(small_market.path, tmp_path / "saved.duckdb")
    assert saved.lost == ()
    assert Market.open(tmp_path / "saved.duckdb", create=False).digest() == small_market.digest()
    with pytest.raises(MarketError, match="already"):
        salvage(small_market.path, tmp_path / "saved.duckdb")


def test_damage_found_in_the_middle_of_a_write_changes_nothing(small_market: Any, tmp_path: Path) -> None:
    for path in damaged(small_market.path, tmp_path, SEEDS[2], 2):
        before = path.read_bytes()
        shutil.copy(path, tmp_path / "copy.duckdb")
        with pytest.raises(PricingError):
            market = Market.open(path, create=False)
            market.undo(market.batches()["batch_id"][0])
            read_every_page(path)
        assert len(path.read_bytes()) >= len(before)


def test_a_file_that_was_cut_short_is_damaged(small_market: Any, tmp_path: Path) -> None:
    cut = tmp_path / "cut.duckdb"
    raw = small_market.path.read_bytes()
    cut.write_bytes(raw[: HEADS + (len(raw) - HEADS) // 2])
    with pytest.raises(DamagedError, match="is damaged: .*`pricing salvage`"):
        read_every_page(cut)
