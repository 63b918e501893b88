"""The unit and the container file say what is: commands, options, variables, addresses."""

import json
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from pricing.api.app import SERVER_PATHS
from pricing.errors import FileError
from pricing.operations.bundled import write_server_files
from pricing.operations.configuration import Configuration, variable
from tests.test_docs import COMMANDS, command_of

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "pricing/operations/deployment"
UNIT = FOLDER / "classic-car-pricing.service"
CONTAINER = FOLDER / "Containerfile"
ENVIRONMENT = FOLDER / "classic-car-pricing.env"

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
    (named,) = settings["EnvironmentFile"]
    assert Path(named).name == ENVIRONMENT.name
    lines_of_file = [line for line in ENVIRONMENT.read_text().splitlines() if line[:1] not in ("#", "")]
    given = dict(line.split("=", 1) for line in lines_of_file)
    assert set(given) <= KNOWN | {"PRICING_COPIES"}
    assert settings["Environment"] == [f"HOME={settings['WorkingDirectory'][0]}"], (
        "PostgreSQL's password file"
    )
    configuration = Configuration.of(given)
    assert configuration.access == "tokens"
    assert int(settings["TimeoutStopSec"][0]) > configuration.stop_seconds, "time to finish what it holds"
    assert settings["KillSignal"] == ["SIGTERM"]
    assert configuration.market.startswith(settings["WorkingDirectory"][0])


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """What `pricing setup server` writes, for a program that is there."""
    program = Path(sys.executable).with_name("pricing")
    write_server_files(tmp_path / "server", str(program), "/srv/cars/market.duckdb")
    return tmp_path / "server"


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd")
def test_systemd_takes_every_unit_and_timer(files: Path) -> None:
    units = sorted([*files.glob("*.service"), *files.glob("*.timer")])
    assert len(units) == 5
    done = subprocess.run(
        ["systemd-analyze", "verify", "--recursive-errors=no", *units], capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_what_setup_writes_names_program_and_market(files: Path) -> None:
    told = {path.name: path.read_text() for path in files.iterdir()}
    assert set(told) == {path.name for path in FOLDER.iterdir()}
    assert not [name for name, text in told.items() if "/usr/local/bin/pricing" in text]
    assert "PRICING_MARKET=/srv/cars/market.duckdb" in told["classic-car-pricing.env"]
    assert all(name in told["STEPS.md"] for name in ("nginx.conf", "Containerfile", "sysusers", ".timer"))
    with pytest.raises(FileError, match="exists already"):
        write_server_files(files)


def test_units_of_backups_call_commands_with_options_that_are_there(files: Path) -> None:
    program = str(Path(sys.executable).with_name("pricing"))
    for name in ("backup", "drill"):
        text = (files / f"classic-car-pricing-{name}.service").read_text().replace("\\\n", " ")
        calls = [part.split("\n")[0].split(";")[0].split("'")[0] for part in text.split(program)[1:]]
        assert calls
        for call in calls:
            holds(shlex.split(call.replace('"', "")))
        assert "EnvironmentFile=/etc/classic-car-pricing.env" in text


def test_a_container_gets_no_history_and_no_markets() -> None:
    ignored = (ROOT / ".dockerignore").read_text()
    assert ignored == (FOLDER / "containerignore").read_text()
    lines = [line for line in ignored.splitlines() if not line.startswith("#")]
    assert lines[0] == "*" and "**/*.duckdb*" in lines
    kept = {line[1:] for line in lines if line.startswith("!")}
    assert kept == {"pricing", "dashboards", "data_demo", "pyproject.toml"}


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
