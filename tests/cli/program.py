"""The command line called in this process."""

import sys
from collections.abc import Callable

import pytest

from pricing.cli import main as cli

Call = Callable[..., tuple[int, str, str]]
"""Words of a command to its exit code, standard output and standard error."""


def caller(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Call:
    """Calls ``pricing`` in the folder and with the environment that there are."""

    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["pricing", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            cli.run()
        said = capfd.readouterr()
        return int(stopped.value.code or 0), said.out, said.err

    return run
