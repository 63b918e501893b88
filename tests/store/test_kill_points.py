"""Power lost at a rename, link, fsync or write of load, fit, settings, token, undo, backup, restore and
upgrade: before or after, never between, and what was acknowledged is there. No thread of a library is started
in this program, for its forks do the work.

``KILL_POINTS=200 .venv/bin/pytest -n 0 -s -m soak tests/store/test_kill_points.py`` prints how many of each.
"""

import gzip
import os
import random
import shutil
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pricing.errors import PricingError
from pricing.operations.backups import back_up, restore
from pricing.store.market import Market
from pricing.store.opening import put_aside
from pricing.store.records.first_load import load_into
from tests.benchmarks.bench_intake import write_rows
from tests.store.kill_points import DONE, calls_of, in_a_fork, killed_at

POINTS = int(os.environ.get("KILL_POINTS", "200"))
SECONDS = float(os.environ.get("KILL_SECONDS", "7200"))
SEED = int(os.environ.get("KILL_SEED", "0"))
EARLIER = Path(__file__).parent / "market_version_2.duckdb.gz"
MARKET = "market.duckdb"

pytestmark = [
    pytest.mark.soak,
    pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed"),
]


def state(path: Path) -> list[Any]:
    """All that a market is to a person, as numbers."""
    market = Market.open(path, create=False)
    return [
        market.digest(), market.batches().height, market.quarantine().height, market.fits().height,
        int(market.batches()["undone_at"].is_not_null().sum()), market.audit().height,
        dict(market.state().settings), market.tokens.listed().height, len(market.state().tokens),
    ]  # fmt: skip


def told(work: Callable[[], Any]) -> Any:
    """What work says, done in a fork, so that no database was ever open in this program."""
    code, lines = in_a_fork(work)
    assert code == 0, lines
    return lines[-1]


class Scene:
    """A folder as it is before each kill."""

    def __init__(self, folder: Path) -> None:
        self.kept, self.folder = folder / "kept", folder / "played"
        self.kept.mkdir()
        told(self._prepared)

    def _prepared(self) -> str:
        write_rows(self.kept / "first.csv", 300, seed=1)
        write_rows(self.kept / "second.csv", 400, seed=2)
        market = self.kept / MARKET
        load_into(market, [self.kept / "first.csv"], base_currency="EUR", believe=True)
        back_up(market, self.kept / "earlier.zip")
        load_into(market, [self.kept / "second.csv"], believe=True)
        with gzip.open(EARLIER) as packed:
            (self.kept / "old.duckdb").write_bytes(packed.read())
        return DONE

    def reset(self) -> Path:
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(self.kept, self.folder)
        return self.folder


def first_load(folder: Path) -> str:
    load_into(folder / "new.duckdb", [folder / "first.csv"], base_currency="EUR", believe=True)
    return DONE


def load(folder: Path) -> str:
    pl.read_csv(folder / "second.csv", infer_schema=False).with_columns(source_ref=pl.lit("other")).write_csv(
        folder / "third.csv"
    )
    load_into(folder / MARKET, [folder / "third.csv"], believe=True)
    return DONE


def fit(folder: Path) -> str:
    Market.open(folder / MARKET, create=False).store_fit(os.urandom(400_000), {"sales": 1})
    return DONE


def settings(folder: Path) -> str:
    kept: dict[str, str | None] = {"country": "FR", "catalogue": "x" * 200_000, "distance_unit": "miles"}
    Market.open(folder / MARKET, create=False).keep_settings(kept)
    return DONE


def token(folder: Path) -> str:
    Market.open(folder / MARKET, create=False).tokens.new("desk", "read")
    return DONE


def undo(folder: Path) -> str:
    Market.open(folder / MARKET, create=False).undo("batch-0002")
    return DONE


def backup(folder: Path) -> str:
    back_up(folder / MARKET, folder / "now.zip")
    return DONE


def bring_back(folder: Path) -> str:
    restore(folder / "earlier.zip", folder / MARKET)
    return DONE


def upgrade(folder: Path) -> str:
    Market.open(folder / "old.duckdb", create=False)
    return DONE


WORK: dict[str, tuple[Callable[[Path], str], str]] = {
    "first load": (first_load, "new.duckdb"),
    "load": (load, MARKET),
    "fit": (fit, MARKET),
    "settings": (settings, MARKET),
    "token": (token, MARKET),
    "undo": (undo, MARKET),
    "backup": (backup, MARKET),
    "restore": (bring_back, MARKET),
    "upgrade": (upgrade, "old.duckdb"),
}


def looked_at(folder: Path, name: str, file: str) -> list[Any]:
    """The market after a kill, and what must hold of whatever lies beside it."""
    path = folder / file
    if name == "backup" and (folder / "now.zip").exists():
        restore(folder / "now.zip", folder / "tried.duckdb")
        assert state(folder / "tried.duckdb")[0] == state(path)[0]
    if name == "restore":
        for kept in put_aside(path):
            state(kept)
    return state(path) if path.exists() else []


def test_a_kill_at_any_call_is_before_or_after(tmp_path: Path) -> None:
    scene, rng = Scene(tmp_path), random.Random(SEED)  # noqa: S311 - where to kill, no secret
    ends: dict[str, list[list[Any]]] = {}
    places: list[tuple[str, str, int]] = []
    left: list[tuple[str, str, int]] = []
    for name, (work, file) in WORK.items():
        folder = scene.reset()
        before = told(lambda: looked_at(folder, name, file))  # noqa: B023
        folder = scene.reset()
        counts = calls_of(lambda: work(folder), tmp_path / "log")  # noqa: B023
        ends[name] = [before, told(lambda: looked_at(folder, name, file))]  # noqa: B023
        print(name, counts)
        all_places = [(name, call, at + 1) for call, count in counts.items() for at in range(count)]
        rare = [place for place in all_places if place[1] not in ("write", "pwrite64")]
        common = [place for place in all_places if place not in rare]
        share = POINTS // len(WORK) + 1
        chosen = rng.sample(rare, min(len(rare), share // 2))
        chosen += rng.sample(common, min(len(common), share - len(chosen)))
        places += chosen
        left += [place for place in all_places if place not in chosen]
    places += rng.sample(left, max(0, min(len(left), POINTS - len(places))))  # some work has few places
    hit: Counter[str] = Counter()
    which: Counter[str] = Counter()
    wrong: list[Any] = []
    rng.shuffle(places)
    start = time.perf_counter()
    for number, (name, call, at) in enumerate(places):
        if time.perf_counter() - start > SECONDS:
            break
        work, file = WORK[name]
        folder = scene.reset()
        killed, said = killed_at(lambda: work(folder), call, at)  # noqa: B023
        code, lines = in_a_fork(lambda: looked_at(folder, name, file))  # noqa: B023
        found = lines[-1] if lines else code
        good = [ends[name][1]] if said == [DONE] else ends[name]
        if found not in good:
            wrong.append((name, call, at, found, good))
            print("wrong:", wrong[-1], flush=True)
            continue
        hit[name] += killed
        which[f"{name}: {'after' if found == ends[name][1] else 'before'}"] += killed
        if number % 4 == 0:
            told(lambda: _goes_on(folder, name, work))  # noqa: B023
        if number % 10 == 9:
            print(f"{number + 1} of {len(places)}: {hit.total()} killed", flush=True)
    print(f"{hit.total()} kills of {number + 1} places of {len(places)}: {dict(hit)}; {dict(which)}")
    assert not wrong


def _goes_on(folder: Path, name: str, work: Callable[[Path], str]) -> str:
    """The same work once more, as a person would ask for it: nothing that was left stands in the way."""
    (folder / "now.zip").unlink(missing_ok=True)
    try:
        work(folder)
    except PricingError as error:
        if "already" not in str(error) and "undone" not in str(error):
            raise
    return DONE
