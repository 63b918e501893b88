"""Damaged fits and archives by the thousand: each refused in one sentence, or found to be whole.

``SOAK_DAMAGED=5000 .venv/bin/pytest -n 0 -s -m soak tests/operations/test_damaged_soak.py`` prints how many.
Every third is damaged within, and its seal or digest made anew, as whoever sends one may.
"""

import hashlib
import io
import json
import os
import random
import time
import zipfile
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pricing.errors import FileError, ModelError
from pricing.model.saved import from_bytes
from pricing.operations.backups import MANIFEST, MARKET, back_up, restore

DAMAGED = int(os.environ.get("SOAK_DAMAGED", "5000"))
SECONDS = float(os.environ.get("SOAK_SECONDS", "3600"))
SEED = int(os.environ.get("SOAK_SEED", "0"))

JUNK: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    1e308,
    float("nan"),
    "",
    "x" * 5000,
    [],
    {},
    [[]],
    [None],
    {"": None},
    "2026",
)
"""What a value of a header is exchanged for."""

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


class Fit:
    """The parts of a fit, to be exchanged and sealed again."""

    def __init__(self, payload: bytes) -> None:
        with np.load(io.BytesIO(payload)) as kept:
            self.arrays = {name: kept[name] for name in kept.files if name not in ("header", "seal")}
            self.header = kept["header"].tobytes()

    def exchanged(self, rng: random.Random) -> bytes:
        """A fit of which one value of the header, or one array, is something else."""
        header, arrays = json.loads(self.header), dict(self.arrays)
        if rng.random() < 0.7:
            holder: Any = header
            while True:
                key = rng.choice(sorted(holder) if isinstance(holder, dict) else range(len(holder)))
                if not holder[key] or not isinstance(holder[key], dict | list) or rng.random() < 0.3:
                    break
                holder = holder[key]
            holder[key] = rng.choice(JUNK)
        else:
            name = rng.choice(sorted(arrays))
            array = arrays[name]
            arrays[name] = rng.choice((
                array[:-1] if array.ndim else array, array.astype("U8"), np.zeros(3), array[..., None],
                np.full_like(array, -1), array.astype("f4"),
            ))  # fmt: skip
            described = f"{arrays[name].dtype.str} {arrays[name].shape} ".encode()
            content = described + np.ascontiguousarray(arrays[name]).tobytes()
            header["digests"][name] = hashlib.sha256(content).hexdigest()
        text = json.dumps(header, sort_keys=True).encode()
        seal = np.frombuffer(hashlib.sha256(text).digest(), dtype=np.uint8)
        packed = io.BytesIO()
        np.savez(packed, header=np.frombuffer(text, dtype=np.uint8), seal=seal, **arrays)
        return packed.getvalue()


def test_damaged_fits(small_market: Any) -> None:
    payload, _ = small_market.load_fit(None)
    parts = Fit(payload)
    rng, counts = random.Random(SEED), Counter[str]()  # noqa: S311 - where to damage, no secret
    start = time.perf_counter()
    for number in range(DAMAGED):
        if time.perf_counter() - start > SECONDS:
            break
        within = number % 3 == 2
        content = parts.exchanged(rng) if within else damaged(payload, rng)
        try:
            from_bytes(content)
            counts["sealed again and taken" if within else "whole all the same"] += 1
        except ModelError as error:
            assert "\n" not in str(error)
            counts["sealed again and refused" if within else "refused"] += 1
        except Exception as error:
            Path(f"/tmp/fit-{SEED}-{number}.npz").write_bytes(content)  # noqa: S108 - to be looked at
            raise AssertionError(f"fit {number}: {error!r}") from error
    print(f"{counts.total()} fits: {dict(counts)}; {time.perf_counter() - start:.0f} s")


def packed_again(raw: bytes, rng: random.Random) -> bytes:
    """An archive whose market is damaged, or whose manifest says something else, with digests that match."""
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    manifest = json.loads(files[MANIFEST])
    if rng.random() < 0.7:
        files[MARKET] = damaged(files[MARKET], rng)
        manifest["files"][MARKET] = hashlib.sha256(files[MARKET]).hexdigest()
    else:
        manifest[rng.choice(sorted(manifest))] = rng.choice(JUNK)
    files[MANIFEST] = json.dumps(manifest).encode()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed.getvalue()


def test_damaged_archives(small_market: Any, tmp_path: Path) -> None:
    raw = back_up(small_market.path, tmp_path / "good.zip").path.read_bytes()
    rng, counts = random.Random(SEED + 1), Counter[str]()  # noqa: S311 - where to damage, no secret
    start, slowest = time.perf_counter(), 0.0
    bad, restored = tmp_path / "bad.zip", tmp_path / "restored.duckdb"
    for number in range(DAMAGED):
        if time.perf_counter() - start > SECONDS:
            break
        within = number % 3 == 2
        bad.write_bytes(packed_again(raw, rng) if within else damaged(raw, rng))
        begun = time.perf_counter()
        kind = "digests made anew and " if within else ""
        try:
            restore(bad, restored)
            counts[f"{kind}whole all the same"] += 1
            for path in tmp_path.glob("restored*"):
                path.unlink()
        except FileError as error:
            assert str(error).startswith(str(bad)) and "\n" not in str(error), (number, str(error))
            assert not restored.exists()
            counts[f"{kind}refused"] += 1
        except Exception as error:
            Path(f"/tmp/archive-{SEED}-{number}.zip").write_bytes(bad.read_bytes())  # noqa: S108
            raise AssertionError(f"archive {number}: {error!r}") from error
        slowest = max(slowest, time.perf_counter() - begun)
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == ["bad.zip", "good.zip"]
    assert slowest < 30
    print(
        f"{counts.total()} archives: {dict(counts)}; slowest {slowest:.1f} s; "
        f"{time.perf_counter() - start:.0f} s"
    )
