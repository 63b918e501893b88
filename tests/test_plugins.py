"""What another package adds, and what one that is wrong does: a sentence, and nothing to other files."""

import os
import sys
import tomllib
from collections.abc import Callable, Iterator
from configparser import ConfigParser
from pathlib import Path
from typing import Any

import pytest

from pricing.condition.catalogue import Catalogue
from pricing.errors import FileError
from pricing.handbook.pages import FOLDER
from pricing.intake.tables.readers import endings, read_whole
from pricing.intake.transfers import received
from pricing.plugins import CATALOGUES, READERS, SHEETS
from pricing.untrusted import door

Install = Callable[[str, str], None]

CARDS = """
import os
import polars as pl

def read(path):
    return pl.DataFrame({"make": [path.read_text()], "process": [os.getpid()]})
"""

WRONG = {
    "none": ("def read(path): return None", "gave no polars frame"),
    "raising": ("def read(path): raise RuntimeError('no such thing')", "cannot be read: no such thing"),
    "absent": ("", "cannot be read: "),
    "unreadable": ("import no_such_module", "cannot be read: No module named"),
    "greedy": ("def read(path): return bytearray(1 << 40)", "MB of memory"),
    "endless": ("def read(path):\n    while True: pass", "would take more than 1 seconds"),
    "leaving": ("import os\ndef read(path): os._exit(3)", "the program that read it ended"),
}


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Installs a package of one module, `trade`, with entry points, in a folder on the path."""
    folder = tmp_path / "installed"

    def done(points: str, program: str) -> None:
        metadata = folder / "trade-1.0.dist-info"
        metadata.mkdir(parents=True)
        (metadata / "METADATA").write_text("Metadata-Version: 2.1\nName: trade\nVersion: 1.0\n")
        (metadata / "entry_points.txt").write_text(points)
        (folder / "trade.py").write_text(program)
        monkeypatch.syspath_prepend(folder)
        door.stop()

    yield done
    door.stop()


def test_a_reader_of_another_package_runs_in_the_reading_process(install: Install, tmp_path: Path) -> None:
    install("[pricing.readers]\ncard = trade:read\n", CARDS)
    (tmp_path / "one.CARD").write_text("Corvane")
    frame = read_whole(tmp_path / "one.CARD")
    assert frame["make"].to_list() == ["Corvane"] and frame["row_number"].to_list() == [1]
    assert frame["process"].to_list() != [os.getpid()] and "trade" not in sys.modules
    assert "card" in endings()
    with received("one.card", b"Corvane") as kept:
        assert read_whole(kept).height == 1


@pytest.mark.parametrize("name", WRONG)
def test_a_reader_that_is_wrong_is_a_sentence(
    name: str, install: Install, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program, said = WRONG[name]
    monkeypatch.setenv("PRICING_READ_SECONDS", "1")
    install("[pricing.readers]\ncard = trade:read\ncsv = trade:read\n", program)
    (tmp_path / "one.card").write_text("Corvane")
    with pytest.raises(FileError, match=said) as caught:
        read_whole(tmp_path / "one.card")
    assert "one.card" in str(caught.value) and "\n" not in str(caught.value)
    (tmp_path / "own.csv").write_text("make\nCorvane\n")
    assert read_whole(tmp_path / "own.csv")["make"].to_list() == ["Corvane"], "built in, and stays so"


def test_a_catalogue_whose_package_is_not_there_is_a_sentence(install: Install) -> None:
    install("[pricing.catalogues]\ncounty = trade_data.none\n", "")
    with pytest.raises(FileError, match=r"'trade_data\.none' under pricing\.catalogues"):
        Catalogue.open(Path("county"))


def test_the_handbook_names_the_same_points_in_both_forms() -> None:
    text = (FOLDER / "extending.md").read_text(encoding="utf-8")
    lines = [line.removeprefix("    ") for line in text.splitlines() if line.startswith("    ")]
    stated: Any = tomllib.loads("\n".join(lines[: lines.index('county = "county_trade.catalogues"') + 1]))
    written = text.partition('entry_points.txt").write_text("""')[2].partition('"""')[0]
    points = ConfigParser()
    points.read_string(written)
    groups = {name: dict(points[name]) for name in points.sections()}
    assert stated["project"]["entry-points"] == groups and set(groups) == {READERS, SHEETS, CATALOGUES}
