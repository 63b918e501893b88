"""The unit and the container file say what is: commands, options, variables, addresses."""

import json
import re
import shlex
import shutil
import subprocess
from dataclasses import fields
from pathlib import Path

import pytest

from pricing.api.app import SERVER_PATHS
from pricing.operations.configuration import Configuration, variable
from tests.test_docs import COMMANDS, command_of

FOLDER = Path(__file__).parents[2] / "pricing/operations/deployment"
UNIT = FOLDER / "classic-car-pricing.service"
CONTAINER = FOLDER / "Containerfile"

KNOWN = {variable(asked.name) for asked in fields(Configuration)}


def holds(words: list[str]) -> None:
    """The call is of a command that is there, with options that it has."""
    name = command_of(words)
    assert name
    options = {option for parameter in COMMANDS[name].params for option in parameter.opts}
    assert {word for word in words if word.startswith("--")} <= options


def test_the_unit_starts_a_command_with_variables_that_are_read() -> None:
    lines = [line.split("=", 1) for line in UNIT.read_text().splitlines() if "=" in line and line[0] != "#"]
    settings: dict[str, list[str]] = {}
    for key, value in lines:
        settings.setdefault(key, []).append(value)
    (start,) = settings["ExecStart"]
    words = shlex.split(start)
    assert Path(words[0]).name == "pricing"
    holds(words[1:])
    given = dict(value.split("=", 1) for value in settings["Environment"])
    assert set(given) <= KNOWN
    configuration = Configuration.of(given)
    assert configuration.access == "tokens"
    assert int(settings["TimeoutStopSec"][0]) > configuration.stop_seconds, "time to finish what it holds"
    assert settings["KillSignal"] == ["SIGTERM"]
    assert configuration.market.startswith(settings["WorkingDirectory"][0])


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd")
def test_systemd_takes_the_unit() -> None:
    done = subprocess.run(
        ["systemd-analyze", "verify", "--recursive-errors=no", UNIT], capture_output=True, text=True
    )
    wrong = [line for line in done.stderr.splitlines() if UNIT.name in line and "not executable" not in line]
    assert wrong == []


def test_the_container_runs_a_command_with_variables_that_are_read() -> None:
    text = CONTAINER.read_text()
    command = json.loads(re.findall(r"^CMD (.*)$", text, re.MULTILINE)[0])
    assert command[0] == "pricing"
    holds(command[1:])
    (named,) = re.findall(r"^ENV (.*)$", text, re.MULTILINE)
    given = dict(word.split("=", 1) for word in shlex.split(named))
    assert set(given) <= KNOWN
    configuration = Configuration.of(given)
    assert (configuration.access, f"{configuration.port}") == ("tokens", re.findall(r"EXPOSE (\d+)", text)[0])
    (path,) = re.findall(r"127\.0\.0\.1:\d+(/\w+)'", text)
    assert path in SERVER_PATHS
    assert "USER pricing" in text.splitlines()
