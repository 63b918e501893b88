"""What commands ask a person who sits at a terminal: run on one, and answered."""

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import pytest

from pricing.store.market import Market
from tests.cli.test_mapping import SHEET

pty = pytest.importorskip("pty", reason="no terminals of this kind here")


def at_terminal(folder: Path, words: Sequence[object], answers: Sequence[str]) -> tuple[int, str]:
    """The exit code of a command and all that its terminal showed; what is typed waits there for its turn."""
    program = shutil.which("pricing", path=str(Path(sys.executable).parent))
    assert program is not None
    mine, theirs = pty.openpty()
    started = subprocess.Popen(
        [program, *map(str, words)], stdin=theirs, stdout=theirs, stderr=theirs, cwd=folder,
        env={**os.environ, "COLUMNS": "160"},
    )  # fmt: skip
    os.close(theirs)
    os.write(mine, "".join(f"{answer}\n" for answer in answers).encode())
    shown = b""
    with suppress(OSError):  # the end of the other side
        while part := os.read(mine, 65_536):
            shown += part
    os.close(mine)
    return started.wait(), shown.decode()


@pytest.mark.soak
def test_a_mapping_is_settled_and_a_double_asked_about_at_the_terminal(tmp_path: Path) -> None:
    (tmp_path / "club.csv").write_text(SHEET)
    answers = ["Oddo=notes", "Odo=notes", "", "al-in", "all-in", "private", ""]
    code, shown = at_terminal(tmp_path, ["map", "club.csv"], answers)
    assert code == 0, shown
    assert "no column 'Oddo'; did you mean Odo?" in shown
    assert "one of: hammer, all-in, net, asking; did you mean all-in?" in shown
    written = (tmp_path / "club.csv.mapping.toml").read_text()
    assert 'price_basis = "all-in"' in written and 'channel = "private"' in written
    assert "# To settle: [constants] country" in written, "what was left open stays open"
    assert 'notes = "Odo"' in written and "odometer_km" not in written

    sale = [
        "make=Corvane",
        "model=Six",
        "year=1968",
        "chassis_number=CV/1234",
        "amount=£4,250",
        "outcome=sold",
    ]
    add = ["add", *sale, "price_basis=all-in"]
    assert at_terminal(tmp_path, add, [])[0] == 0
    for answer, code, records in (("n", 1, 1), ("y", 0, 2)):
        ended, shown = at_terminal(tmp_path, [*add, "source=the hall"], [answer])
        assert "It may be one sale with" in shown and "Add it all the same?" in shown
        assert ended == code, shown
        assert Market.open(tmp_path / "market.duckdb").sales(every_record=True).height == records
