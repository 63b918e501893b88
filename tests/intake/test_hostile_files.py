"""Hostile files at the reading door: a sentence or rows, in bounded memory and time."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import made_once
from tests.hostile_files import HOSTILE, write_all

READ = """
import json, resource, sys, time
from pathlib import Path
from pricing.errors import PricingError
from pricing.intake.tables.readers import read_whole
from pricing.untrusted import door
found = {}
for name, path in json.loads(sys.stdin.read()).items():
    start = time.perf_counter()
    try:
        frame = read_whole(Path(path))
        said, rows = "", frame.height
    except PricingError as error:
        said, rows = str(error), None
    found[name] = {"said": said, "rows": rows, "seconds": time.perf_counter() - start}
door.stop()
own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
if sys.platform == "linux":  # there what is told above counts the program that started this one too
    own = int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
peak = [own / 1e6, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6]
print(json.dumps({"found": found, "peak": peak}))
"""

GIGABYTES = 1.5


@pytest.fixture(scope="session")
def read(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What became of each hostile file, all of them read by one program; and the most memory it took."""

    def read_all(folder: Path) -> None:
        paths = write_all(folder)
        asked = json.dumps({name: str(path) for name, path in paths.items()})
        done = subprocess.run(
            [sys.executable, "-c", READ], input=asked, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr[-3000:]
        (folder / "read.json").write_text(done.stdout, encoding="utf-8")

    folder = made_once(tmp_path_factory, "hostile", read_all)
    found: dict[str, Any] = json.loads((folder / "read.json").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_rows_or_its_own_sentence(read: dict[str, Any], name: str) -> None:
    _, _, sentence = HOSTILE[name]
    found = read["found"][name]
    assert found["seconds"] < 30
    if not sentence:
        assert found["said"] == ""
        return
    assert re.search(sentence, found["said"]), found
    assert "\n" not in found["said"]
    assert "file " in found["said"]


def test_memory_stays_bounded(read: dict[str, Any]) -> None:
    own, of_children = read["peak"]
    assert own < GIGABYTES
    assert of_children < GIGABYTES
