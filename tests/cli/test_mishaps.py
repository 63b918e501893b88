"""What a machine does to a person: a port in use, a full disk, a folder not to be written to, no home.

Each is one sentence on standard error and exit code 1."""

import errno
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import pytest

from pricing.store.market import Market
from tests.cli.program import Call, caller
from tests.small_market import common_car

WITHOUT_HOME = """
import pwd
def unknown(number):
    raise KeyError(number)
pwd.getpwuid = unknown
from pricing.cli.main import run
run()
"""
"""The command line for a user that the machine knows no home of."""


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], small_market: Market) -> Call:
    """Call the command line on the small market."""
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    return caller(monkeypatch, capfd)


@contextmanager
def mounted(folder: Path, size: str) -> Iterator[None]:
    """A small file system of its own in a folder; skips where the user may not mount one."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    if sys.platform != "linux" or subprocess.run(words, capture_output=True, check=False).returncode:
        pytest.skip("no file system can be mounted here")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def writing(folder: Path, market: Market) -> list[list[str]]:
    """A call of every kind of command that writes a file into a folder."""
    car = common_car(market)
    named = [f"--make={car['make']}", f"--model={car['model']}", f"--year={car['year']}"]
    return [
        ["records", "export", f"{folder}/rows.csv"],
        ["records", "export", f"{folder}/rows.parquet"],
        ["setup", "server", "--out", f"{folder}/server"],
        ["demo", "--files", f"{folder}/demo"],
        ["format", "--template", f"{folder}/empty.csv"],
        ["format", "--template", f"{folder}/empty.xlsx"],
        ["backup", f"{folder}/backups/"],
        ["token", "new", "desk", "--market", f"{folder}/new.duckdb"],
        ["token", "new", "desk", "--market", f"{folder}/kept.duckdb"],
        ["appraise", "new", f"{folder}/car.toml", "--blank"],
        ["handbook", "--out", f"{folder}/handbook", "--no-open"],
        ["sell", *named, "--discount=0.02", "--sheet", f"{folder}/sheet.html"],
        ["index", "--out", f"{folder}/index.csv"],
        ["index", "--chart", f"{folder}/index.svg"],
        ["inspect", "start", f"{folder}/walk.json", *named, "--construction=separate chassis"],
        ["salvage", f"{folder}/saved.duckdb"],
        ["copy", str(market.path), f"{folder}/copy.duckdb"],
    ]


def refused(call: Call, calls: list[list[str]], because: str) -> None:
    """Each exits with 1 and one sentence that says why."""
    for words in calls:
        code, _, err = call(*words)
        last = err.splitlines()[-1] if err else ""
        assert code == 1 and last.startswith("error: ") and because in last, (words, code, err)
        assert "Traceback" not in err and err.count("error: ") == 1, (words, err)


def test_a_folder_that_is_not_to_be_written_to(call: Call, small_market: Market, tmp_path: Path) -> None:
    folder = tmp_path / "kept"
    with mounted(folder, "40m"):
        shutil.copy(small_market.path, folder / "kept.duckdb")
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        refused(call, writing(folder, small_market), os.strerror(errno.EROFS))
        assert call("fits", "--market", folder / "kept.duckdb")[0] == 0, "it can be read"


def test_a_full_disk(call: Call, small_market: Market, tmp_path: Path) -> None:
    folder = tmp_path / "full"
    with mounted(folder, "40m"):
        shutil.copy(small_market.path, folder / "kept.duckdb")
        digest = Market.open(folder / "kept.duckdb").digest()
        room = os.open(folder / "filling", os.O_WRONLY | os.O_CREAT)
        with pytest.raises(OSError, match="No space"):
            while True:
                os.write(room, bytes(4096))
        os.close(room)
        refused(call, writing(folder, small_market), os.strerror(errno.ENOSPC))
        (folder / "filling").unlink()
        kept = Market.open(folder / "kept.duckdb")
        assert kept.digest() == digest and kept.tokens.listed().is_empty()


def program(*words: object, out: IO[str] | int = subprocess.PIPE) -> "subprocess.CompletedProcess[str]":
    """The command line in a process of its own."""
    return subprocess.run(
        [str(Path(sys.executable).with_name("pricing")), *map(str, words)],
        stdout=out, stderr=subprocess.PIPE, text=True, check=False,
    )  # fmt: skip


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_an_answer_for_which_there_is_no_room(small_market: Market) -> None:
    with Path("/dev/full").open("w") as full:
        done = program("records", "list", "--market", small_market.path, out=full)
    assert (done.returncode, done.stderr) == (1, f"error: {os.strerror(errno.ENOSPC)}\n")


@pytest.mark.parametrize("command", ["serve", "dashboard"])
def test_a_used_port(command: str, small_market: Market) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = program(command, "--market", small_market.path, "--port", port)
    assert done.returncode == 1 and not done.stdout
    assert done.stderr == (
        f"error: nothing can be served: port {port} is in use; choose another with --port\n"
    )


def test_no_home(small_market: Market, tmp_path: Path) -> None:
    """A market file needs none; the local copy of a server's market asks for another place."""
    variables = {name: value for name, value in os.environ.items()
                 if name not in ("HOME", "XDG_CACHE_HOME", "PRICING_COPIES", "PRICING_MARKET")}  # fmt: skip

    def run(market: object) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-c", WITHOUT_HOME, "fits", "--market", str(market)],
            env=variables, capture_output=True, text=True, check=False, cwd=tmp_path,
        )  # fmt: skip

    assert run(small_market.path).returncode == 0
    done = run("postgresql://anna@127.0.0.1:9/cars")
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert done.stderr.count("\n") == 1 and "PRICING_COPIES" in done.stderr
