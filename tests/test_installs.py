"""The package as strangers install it: README run from the wheel on every Python there is, from the source
distribution, from a checkout as README says, at the lowest versions that are allowed and by the lock; and the
container file followed without a container.

``.venv/bin/pytest -n 0 -s -m soak tests/test_installs.py``; takes minutes for each, and the package index.
"""

import fnmatch
import json
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from tests.constraints import lock
from tests.handbook.test_pages import BLOCK
from tests.ports import free_port
from tests.test_docs import INSTALL_AND_RUN, README
from tests.test_package import ROOT, built

__all__ = ["built"]

CONTAINER = ROOT / "pricing/operations/deployment/Containerfile"
IGNORED = CONTAINER.with_name("containerignore")

pytestmark = pytest.mark.soak


def interpreter(version: str) -> str:
    """A Python of a version; skips where there is none."""
    places = [Path(folder) / f"python{version}" for folder in os.environ["PATH"].split(os.pathsep)]
    places += sorted(Path.home().glob(f".pyenv/versions/{version}.*/bin/python{version}"))
    for place in places:
        if place.is_file() and not subprocess.run([place, "-c", ""], capture_output=True).returncode:
            return str(place)
    pytest.skip(f"there is no Python {version} here")


def done(*words: object, folder: Path, **variables: str) -> str:
    """Run a program; what it wrote."""
    found = subprocess.run(
        [str(word) for word in words], cwd=folder, capture_output=True, text=True,
        env={**os.environ, **variables},
    )  # fmt: skip
    assert found.returncode == 0, f"{words}\n{found.stdout[-3000:]}\n{found.stderr[-3000:]}"
    return found.stdout + found.stderr


def installed(python: str, folder: Path, *what: object) -> Path:
    """A fresh environment with a package in it; the folder of its programs."""
    done(sys.executable, "-m", "uv", "venv", "-q", "--python", python, folder / "environment", folder=folder)
    programs = folder / "environment/bin"
    done(
        sys.executable, "-m", "uv", "pip", "install", "-q", "--python", programs / "python", *what,
        folder=folder,
    )  # fmt: skip
    return programs


def walked(programs: Path, folder: Path) -> None:
    """Every block of README after its two set-up commands, in order, in an empty folder."""
    folder.mkdir()
    variables = {"PATH": f"{programs}{os.pathsep}{os.environ['PATH']}", "HOME": str(folder), "PYTHONPATH": ""}
    done("pricing", "demo", "--no-dashboard", folder=folder, **variables)
    for kind, block in BLOCK.findall(README)[3:]:
        words = ("bash", "-ec", block) if kind == "sh" else ("python", "-c", block)
        done(*words, folder=folder, **variables)
    made = {path.name for path in folder.iterdir()}
    assert {"sheet.pdf", "sales.csv", "car.toml", "market.duckdb", "demo.duckdb"} <= made
    told = done("pricing", "doctor", "--deep", "--market", "demo.duckdb", folder=folder, **variables)
    print(told.splitlines()[1].strip())


@pytest.mark.parametrize("version", ["3.11", "3.12", "3.13", "3.14"])
def test_readme_from_the_wheel(version: str, built: Path, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    (wheel,) = built.glob("*.whl")
    walked(installed(interpreter(version), tmp_path, f"{wheel}[all]"), tmp_path / "empty")


def test_readme_from_the_source_distribution(built: Path, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    (source,) = built.glob("*.tar.gz")
    walked(installed(interpreter("3.12"), tmp_path, f"{source}[all]"), tmp_path / "empty")


def test_readme_at_the_lowest_versions(built: Path, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    (wheel,) = built.glob("*.whl")
    programs = installed(sys.executable, tmp_path, "--resolution=lowest-direct", f"{wheel}[all]")
    walked(programs, tmp_path / "empty")


def test_readme_by_the_lock(built: Path, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    """Every file that is installed is held to its digest."""
    (wheel,) = built.glob("*.whl")
    lock = ROOT / "pricing/lock.txt"
    programs = installed(sys.executable, tmp_path, "--require-hashes", "-r", lock)
    uv = (sys.executable, "-m", "uv", "pip")
    done(*uv, "install", "-q", "--no-deps", "--python", programs / "python", wheel, folder=tmp_path)
    done(*uv, "check", "--python", programs / "python", folder=tmp_path)
    walked(programs, tmp_path / "empty")


def test_the_command_of_a_release_writes_that_lock() -> None:
    """Held by its versions: a file of a version may be added to the index later."""
    kept = (ROOT / "pricing/lock.txt").read_text(encoding="utf-8")
    entry = re.compile(r"^\S+==\S+", re.MULTILINE)
    assert entry.findall(lock()) == entry.findall(kept)


def test_readme_from_a_checkout(tmp_path: Path) -> None:
    """The first command of README as it stands there, but for the dashboard, which is served for ever."""
    listed = done("git", "ls-files", folder=ROOT).splitlines()
    if not listed:
        pytest.skip("no checkout")
    for name in listed:
        (tmp_path / "checkout" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tmp_path / "checkout" / name)
    python = Path(interpreter("3.13"))
    done(
        "bash", "-ec", f"{INSTALL_AND_RUN} --no-dashboard".replace("python3 ", f"{python} "),
        folder=tmp_path / "checkout",
    )  # fmt: skip
    walked(tmp_path / "checkout/.venv/bin", tmp_path / "empty")


def test_types_hold_for_a_strict_program_beside_the_installed_wheel(built: Path, tmp_path: Path) -> None:  # noqa: F811 - a fixture
    (wheel,) = built.glob("*.whl")
    programs = installed(sys.executable, tmp_path, f"{wheel}[all]", "mypy", "pyright")
    outside = tmp_path / "outside"
    outside.mkdir()
    shutil.copy(ROOT / "tests/consumer.py", outside)
    (outside / "pyrightconfig.json").write_text('{"typeCheckingMode": "strict"}')
    variables = {"PATH": f"{programs}{os.pathsep}{os.environ['PATH']}", "PYTHONPATH": "", "MYPYPATH": ""}
    done("mypy", "--strict", "--follow-imports=silent", "consumer.py", folder=outside, **variables)
    told = done("pyright", "--pythonpath", programs / "python", folder=outside, **variables)
    assert "0 errors" in told


def context(folder: Path) -> Path:
    """What a container is built of: the project's files as the ignore file lets them in."""
    rules = [line for line in IGNORED.read_text().splitlines() if line and not line.startswith("#")]
    let_in = [rule[1:] for rule in rules if rule.startswith("!")]
    kept_out = [rule.removeprefix("**/") for rule in rules if rule.startswith("**/")]
    for name in let_in:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns(*kept_out))
        else:
            shutil.copy(ROOT / name, folder)
    left = [path for path in folder.rglob("*") if any(fnmatch.fnmatch(path.name, rule) for rule in kept_out)]
    assert left == []
    return folder


def test_the_container_file_without_a_container(tmp_path: Path) -> None:
    """Its `pip install`, out of the files that it copies; its command, under its variables; its health."""
    text = CONTAINER.read_text()
    version = re.findall(r"^FROM \S+:(\d\.\d+)", text, re.MULTILINE)[0]
    extras = re.findall(r"'/source(\[\S+\])'", text)[0]
    (tmp_path / "source").mkdir()
    source = context(tmp_path / "source")
    programs = installed(interpreter(version), tmp_path, f"classic-car-pricing{extras} @ file://{source}")
    (tmp_path / "market").mkdir()
    variables = dict(word.split("=", 1) for word in re.findall(r"^ENV (.*)$", text, re.MULTILINE)[0].split())
    variables |= {"PRICING_MARKET": str(tmp_path / "market/market.duckdb"), "PRICING_PORT": str(free_port())}
    command = json.loads(re.findall(r"^CMD (.*)$", text, re.MULTILINE)[0])
    port, health = variables["PRICING_PORT"], re.findall(r"127\.0\.0\.1:\d+(/\w+)'", text)[0]
    address = f"http://127.0.0.1:{port}"
    with subprocess.Popen(
        [programs / command[0], *command[1:]], cwd=tmp_path / "market", env={**os.environ, **variables}
    ) as server:
        try:
            deadline = time.monotonic() + 300
            while time.monotonic() < deadline:
                try:
                    if httpx.get(f"{address}{health}", timeout=30).is_success:
                        break
                except httpx.TransportError:
                    time.sleep(0.5)
            assert httpx.get(f"{address}{health}", timeout=60).is_success
            assert httpx.get(f"{address}/api/v1/market", timeout=60).status_code == 401
            assert not httpx.get(f"{address}/", timeout=60).text.count("stApp"), "nobody is let in"
        finally:
            server.terminate()
            started = time.monotonic()
            server.wait(60)
        assert time.monotonic() - started < 10
