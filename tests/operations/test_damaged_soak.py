"""Damaged fits and archives by the thousand: each refused in one sentence, or found to be whole.

``SOAK_DAMAGED=5000 .venv/bin/pytest -n 0 -s -m soak tests/operations/test_damaged_soak.py`` prints how many.
"""

import os
import random
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from pricing.errors import FileError, ModelError
from pricing.model.saved import from_bytes
from pricing.operations.backups import back_up, restore

DAMAGED = int(os.environ.get("SOAK_DAMAGED", "5000"))
SECONDS = float(os.environ.get("SOAK_SECONDS", "3600"))
SEED = int(os.environ.get("SOAK_SEED", "0"))

pytestmark = pytest.mark.soak


def damaged(raw: bytes, rng: random.Random) -> bytes:
    """Bytes with a bit flipped, a stretch blanked, doubled or taken out, or the end cut off."""
    content = bytearray(raw)
    for _ in range(rng.choice((1, 1, 1, 3, 20))):
        at, length = rng.randrange(len(content)), rng.randrange(1, 100)
        match rng.randrange(5):
            case 0:
                content[at] ^= 1 << rng.randrange(8)
            case 1:
                content[at : at + length] = bytes(length)
            case 2:
                content[at:at] = content[at : at + length]
            case 3:
                content[at : at + length] = b""
            case _:
                del content[max(1, at) :]
        if len(content) < 2:
            break
    return bytes(content)


def test_damaged_fits(small_market: Any) -> None:
    payload, _ = small_market.load_fit(None)
    rng, counts = random.Random(SEED), Counter[str]()  # noqa: S311 - where to damage, no secret
    start = time.perf_counter()
    for _ in range(DAMAGED):
        if time.perf_counter() - start > SECONDS:
            break
        try:
            from_bytes(damaged(payload, rng))
            counts["whole all the same"] += 1
        except ModelError as error:
            assert "\n" not in str(error)
            counts["refused"] += 1
    print(f"{counts.total()} fits: {dict(counts)}; {time.perf_counter() - start:.0f} s")


def test_damaged_archives(small_market: Any, tmp_path: Path) -> None:
    raw = back_up(small_market.path, tmp_path / "good.zip").path.read_bytes()
    rng, counts = random.Random(SEED + 1), Counter[str]()  # noqa: S311 - where to damage, no secret
    start, slowest = time.perf_counter(), 0.0
    for _ in range(DAMAGED):
        if time.perf_counter() - start > SECONDS:
            break
        (tmp_path / "bad.zip").write_bytes(damaged(raw, rng))
        begun = time.perf_counter()
        try:
            restore(tmp_path / "bad.zip", tmp_path / "restored.duckdb")
            counts["whole all the same"] += 1
            for path in tmp_path.glob("restored*"):
                path.unlink()
        except FileError as error:
            assert "\n" not in str(error)
            assert not (tmp_path / "restored.duckdb").exists()
            counts["refused"] += 1
        slowest = max(slowest, time.perf_counter() - begun)
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == ["bad.zip", "good.zip"]
    print(
        f"{counts.total()} archives: {dict(counts)}; slowest {slowest:.1f} s; "
        f"{time.perf_counter() - start:.0f} s"
    )
