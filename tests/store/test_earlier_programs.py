"""Upgrade and downgrade with the very programs that went before, out of the project's history: a market that
one of them made is brought up and worked with; it refuses what became of it in a sentence, and goes on with
the file that was kept.

``.venv/bin/pytest -n 0 -s -m soak tests/store/test_earlier_programs.py``; skipped where there is no history.
"""

import io
import subprocess
import sys
import tarfile
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pricing.cli.main import app
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.store.schema import VERSION
from tests.benchmarks.bench_intake import write_rows
from tests.store.test_migrations import records, rows, version

ROOT = Path(__file__).parents[2]

PROGRAMS = {
    "c7304a48db01a6f06216cb9e59cb300a93e750c2": ("1", "pricing.service.cli"),
    "09de5a4": ("2", "pricing.service.cli"),
}
"""Commits, the first of them that loads a file by its command line: the version of their market files, and
the module of that command line."""

START = """
import sys
sys.path.insert(0, sys.argv[1])
from importlib import import_module
run = import_module(sys.argv[2]).run
sys.argv = ["pricing", *sys.argv[3:]]
run()
"""

Earlier = Callable[..., "subprocess.CompletedProcess[str]"]

pytestmark = pytest.mark.soak


def program(commit: str, folder: Path) -> Earlier:
    """The command line of a commit, with today's libraries."""
    told = subprocess.run(["git", "archive", commit], cwd=ROOT, capture_output=True)
    if told.returncode:
        pytest.skip("the project's history is not here")
    with tarfile.open(fileobj=io.BytesIO(told.stdout)) as archive:
        archive.extractall(folder / "code", filter="data")

    def run(*words: object) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-W", "ignore", "-P", "-c", START, folder / "code", PROGRAMS[commit][1],
             *map(str, words)],
            cwd=folder, capture_output=True, text=True,
        )  # fmt: skip

    return run


@pytest.mark.parametrize("commit", PROGRAMS)
def test_there_and_back(commit: str, tmp_path: Path) -> None:
    earlier, market = program(commit, tmp_path), tmp_path / "market.duckdb"
    write_rows(tmp_path / "rows.csv", 300, seed=1)
    for words in (["load", "rows.csv"], ["fit"]):
        done = earlier(*words, "--market", market)
        assert done.returncode == 0, done.stdout + done.stderr
    before, recorded = rows(market), records(market)
    assert version(market) == PROGRAMS[commit][0]

    for words in (["batches"], ["quarantine"], ["fits"], ["fit"], ["doctor", "--deep"], ["depth"]):
        now = CliRunner().invoke(app, [*words, "--market", str(market)])
        assert now.exit_code == 0, (words, now.output, now.exception)
    assert version(market) == VERSION and records(market) == recorded
    load(Market.open(market), "fit-0002")

    taken = market.read_bytes()
    for words in (["batches"], ["load", "rows.csv"], ["fit"]):
        done = earlier(*words, "--market", market)
        last = (done.stderr.strip() or done.stdout.strip()).splitlines()[-1]
        assert done.returncode != 0 and "Traceback" not in done.stderr, done.stderr
        assert "version" in last, last
    assert market.read_bytes() == taken, "what is refused is left alone"

    kept = tmp_path / f"market.version-{PROGRAMS[commit][0]}.duckdb"
    market.unlink()
    kept.rename(market)
    assert rows(market) == before
    for words in (["batches"], ["fit"], ["undo", "batch-0001"]):
        done = earlier(*words, "--market", market)
        assert done.returncode == 0, done.stdout + done.stderr
    print(
        f"{commit[:7]}: version {PROGRAMS[commit][0]} to {VERSION} and back, {len(before['records'])} records"
    )
