"""README and DEVELOPERS.md say what is: commands that exist, names that are public, files that are there."""

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer.main

import pricing
from pricing.cli.main import app

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

INSTALL_AND_RUN = "python3 -m venv .venv && .venv/bin/pip install -e '.[all]' && .venv/bin/pricing demo"
UV = ["uv run --extra all pricing demo", "uv run --extra test pytest"]
TEST = ".venv/bin/pip install -e '.[test]' && .venv/bin/pytest"


def commands(group: Any = None, path: str = "") -> dict[str, Any]:
    """Every command of the command line under the words that call it."""
    group = typer.main.get_command(app) if group is None else group
    found: dict[str, Any] = {}
    for name, command in group.commands.items():
        words = f"{path} {name}".strip()
        found |= commands(command, words) if hasattr(command, "commands") else {words: command}
    return found


COMMANDS = commands()


def shell_lines(text: str) -> list[str]:
    """The lines of every fenced block of shell commands."""
    blocks = re.findall(r"```(?:sh|bash)\n(.*?)```", text, flags=re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


def calls(text: str) -> list[list[str]]:
    """Every call of ``pricing`` in the shell blocks, as words."""
    found = []
    for line in shell_lines(text):
        for part in line.split("&&"):
            words = shlex.split(part, comments=True)
            starts = [place for place, word in enumerate(words) if word.split("/")[-1] == "pricing"]
            found += [words[starts[0] + 1 :]] if starts else []
    return found


def command_of(words: list[str]) -> str:
    """The longest run of first words that names a command."""
    names = [" ".join(words[:length]) for length in (3, 2, 1)]
    return next((name for name in names if name in COMMANDS), "")


def test_readme_gives_the_two_commands_and_their_one_line_forms() -> None:
    lines = shell_lines(README)
    assert INSTALL_AND_RUN in lines
    assert TEST in lines
    assert set(UV) <= set(lines)


def test_the_checks_of_a_clean_checkout_run_the_readmes_test_command() -> None:
    assert TEST in (ROOT / ".ci/run").read_text(encoding="utf-8")


@pytest.mark.parametrize("words", calls(README) + calls(DEVELOPERS), ids=" ".join)
def test_every_call_in_the_documents_is_of_a_command_with_such_options(words: list[str]) -> None:
    name = command_of(words)
    assert name, f"pricing {' '.join(words)}: no such command"
    options = {
        option for parameter in COMMANDS[name].params for option in parameter.opts + parameter.secondary_opts
    }
    used = {word.split("=")[0] for word in words if word.startswith("--")} - {"--help"}
    assert used <= options


@pytest.mark.parametrize("name", COMMANDS)
def test_the_handbook_names_every_command(name: str) -> None:
    assert f"`pricing {name}`" in (ROOT / "pricing/handbook/commands.md").read_text(encoding="utf-8")


def test_readme_is_short_and_leads_to_every_page_of_the_handbook() -> None:
    assert len([line for line in README.splitlines() if line.strip()]) <= 70
    own = {path.stem for path in (ROOT / "pricing/handbook").glob("*.md")} - {"index"}
    assert set(re.findall(r"\(pricing/handbook/(\w+)\.md\)", README)) == own


@pytest.mark.parametrize("name", pricing.__all__)
def test_every_public_name_is_there_with_what_it_is(name: str) -> None:
    assert getattr(pricing, name).__doc__


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_file_a_document_points_to_is_there(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    pointed = re.findall(r"\]\(([^)#:]+)\)", text) + re.findall(r'src="([^":]+)"', text)
    pointed += re.findall(r"`((?:pricing|dashboards|data_demo|tests|\.ci)/[\w./-]+)`", text)
    assert pointed
    missing = [name for name in pointed if not (ROOT / name).exists()]
    assert missing == []


def test_the_newcomers_map_names_every_room() -> None:
    rooms = {
        path.name for path in (ROOT / "pricing").iterdir() if path.is_dir() and path.name != "__pycache__"
    }
    assert all(f"{room}/" in DEVELOPERS for room in rooms)
