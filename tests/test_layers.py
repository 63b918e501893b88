"""The house keeps its shape: imports point one way, rooms keep to their tools, the top level is short."""

import ast
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "pricing", "dashboards", "data_demo", "tests"}

ROOMS = (
    (
        "errors",
        "failures",
        "vocabulary",
        "progress",
        "toml_text",
        "notebook_html",
        "memo",
        "validation",
        "nearest",
        "arrays",
    ),
    ("untrusted", "plugins", "whole_files"),
    ("clean_text",),
    ("car_fields", "money"),
    ("records", "car_names"),
    ("car", "intake", "opinions"),
    ("store",),
    ("condition", "model"),
    ("evidence",),
    ("snapshot",),
    ("snapshot_source",),
    ("decisions",),
    ("appraisal",),
    ("words",),
    ("charts",),
    ("reports",),
    ("operations",),
    ("market",),
    ("handbook",),
    ("api",),
    ("cli", "dashboards"),
)
"""Rooms from the ground up: a file imports from its own room and from those on lower floors."""

FLOOR = {room: floor for floor, rooms in enumerate(ROOMS) for room in rooms}
FILES = sorted(
    path
    for folder in ("pricing", "dashboards")
    for path in (ROOT / folder).rglob("*.py")
    if path != ROOT / "pricing/__init__.py"
)


def named(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def room(module: str) -> str:
    """The room a module belongs to: ``pricing.model.features.spec`` to ``model``."""
    parts = module.split(".")
    return "dashboards" if parts[0] == "dashboards" else parts[1]


@cache
def imports(path: Path) -> tuple[str, ...]:
    return tuple(read_imports(path))


def read_imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, at its top, in a function or by a text, of whatever package; a name
    out of a package counts as that package's own file, unless it is a module."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.Call) and called(node) in ("import_module", "__import__"):
            (name,) = node.args
            assert isinstance(name, ast.Constant), f"{path} imports what cannot be read: {ast.unparse(node)}"
            yield str(name.value)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports by a relative name"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if is_module(inner) else str(node.module)


def called(node: ast.Call) -> str:
    """The name of the function that is called, of whatever module."""
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


@cache
def is_module(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.with_suffix(".py").is_file() or path.is_dir()


@cache
def ours(path: Path) -> list[str]:
    """What a file imports of this project."""
    return [name for name in imports(path) if name.split(".")[0] in ("pricing", "dashboards")]


def test_imports_point_to_lower_floors() -> None:
    modules = [(path, name) for path in FILES for name in ours(path) if name not in ("pricing", "dashboards")]
    upward = [
        f"{named(path)} imports {name}"
        for path, name in modules
        if room(name) != room(named(path)) and FLOOR[room(name)] >= FLOOR[room(named(path))]
    ]
    assert len(modules) > len(FILES)
    assert upward == []


def test_no_files_import_each_other() -> None:
    """Inside a room and between rooms alike: no file imports another that imports it, however far round."""
    known = {named(path): set(ours(path)) - {named(path)} for path in FILES}
    try:
        TopologicalSorter({name: found & set(known) for name, found in known.items()}).prepare()
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


def test_a_circle_through_an_import_by_name_is_seen(tmp_path: Path) -> None:
    file = tmp_path / "file.py"
    file.write_text(
        "import importlib\ndef f():\n    return importlib.import_module('pricing.store.market')\n"
    )
    assert list(read_imports(file)) == ["importlib", "pricing.store.market"]
    file.write_text("__import__('pricing.store.market')\n")
    assert list(read_imports(file)) == ["pricing.store.market"]
    file.write_text("from importlib import import_module\nimport_module(name)\n")
    with pytest.raises(AssertionError, match="cannot be read"):
        list(read_imports(file))


def test_no_file_imports_a_package_of_its_own() -> None:
    """Names come from the file that holds them, so that no package and its files import each other."""
    packages = {name for path in FILES for name in ours(path) if ROOT.joinpath(*name.split(".")).is_dir()}
    assert packages == set()


def test_streamlit_stays_in_the_dashboards() -> None:
    users = [path for path in FILES if "streamlit" in {name.split(".")[0] for name in imports(path)}]
    assert users
    assert [named(path) for path in users if named(path).startswith("pricing.")] == []


def test_decisions_do_not_read_the_store() -> None:
    """They are made of a snapshot, which pages, API and command line share; of the store they know what it is
    that a person keeps."""
    users = [path for path in FILES if room(named(path)) == "decisions"]
    known = {name for path in users for name in ours(path) if room(name) == "store"}
    assert known <= {"pricing.store.kept.cars"}


def test_no_two_public_classes_share_a_name() -> None:
    """But the market as a program meets it, which is the store's with the questions that people ask of it."""
    places: dict[str, list[str]] = {}
    for path in FILES:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(named(path))
    shared = {name: files for name, files in places.items() if len(files) > 1}
    assert shared == {"Market": ["pricing.market", "pricing.store.market"]}


def test_every_file_of_pricing_is_in_a_known_room() -> None:
    assert {room(named(path)) for path in FILES} <= set(FLOOR)


def test_only_the_command_line_and_the_tests_know_the_demo_market() -> None:
    users = [named(path) for path in FILES if "data_demo" in {name.split(".")[0] for name in imports(path)}]
    assert all(name.startswith("pricing.cli.") for name in users), users


def test_the_top_level_is_what_the_newcomers_map_says() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    names = {name.split("/")[0] for name in listed} or {path.name for path in ROOT.iterdir()}
    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL


def test_no_file_is_a_cupboard() -> None:
    cupboards = {"utils", "util", "helpers", "common", "misc"}
    assert not [named(path) for path in FILES if path.stem in cupboards]


def test_no_expression_calls_python() -> None:
    """A Python function in an expression waits for the interpreter on one of polars' own few threads, while
    another thread of a server may hold the interpreter and wait for those: both then wait for ever."""
    calls = {"map_elements", "map_batches", "map_groups", "map_rows", "map_columns", "reduce", "fold"}
    found = [
        f"{named(path)}:{node.lineno}"
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in calls
    ]
    assert found == []


MOST_FILES = 21
MOST_LINES = 300
LONG = {
    "pricing/intake/written/table.py": "a cell of every kind, read one after another",
    "pricing/intake/mappings/proposals.py": "one column held against every reading it may have",
    "pricing/store/connection.py": "one connection to a file: its turn, its opening, its errors, its log",
    "pricing/store/market.py": "the one door to a market: a method a question, each a few lines",
    "pricing/records/contract.py": "the contract: a line a column, a line a rule",
    "pricing/store/records/loading.py": "one load, from its files to its report",
    "pricing/model/statements.py": "statements as evidence of prices, up to their pull on a fit",
    "pricing/decisions/buy/buying.py": "a buyer's decision: its facts and how they are made",
    "pricing/appraisal/evidence.py": "the evidence of an appraisal, gathered once",
    "pricing/appraisal/consistency.py": "every rule that record and evidence must keep, one after another",
    "pricing/model/features/design.py": "the block list: every effect of the model in one screen",
    "pricing/model/price_model.py": "the door of the model",
    "pricing/evidence/indices/index.py": "an index, whatever its method",
    "pricing/evidence/comparison/comparables.py": "one answer, from the subject to its reconciliation",
    "pricing/cli/main.py": "the commands that everybody needs first",
    "pricing/reports/evidence.py": "the evidence of an appraisal, block by block",
    "pricing/store/postgres/copy.py": "the local copy: founded, caught up, written through",
}
"""Files of more lines than that, and the one concept each holds."""


def test_rooms_are_small() -> None:
    """No folder holds many files; a file past three hundred lines says which one concept it holds."""
    folders: dict[str, int] = {}
    long = set()
    for path in FILES:
        folder = path.parent.relative_to(ROOT).as_posix()
        folders[folder] = folders.get(folder, 0) + (path.name != "__init__.py")
        if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES:
            long.add(path.relative_to(ROOT).as_posix())
    assert {name: count for name, count in folders.items() if count > MOST_FILES} == {}
    assert long == set(LONG)


def test_every_room_says_what_belongs_there_and_what_does_not() -> None:
    silent = [named(path) for path in FILES if path.name == "__init__.py" and not says_what_belongs(path)]
    assert silent == []


def says_what_belongs(path: Path) -> bool:
    """Whether a package says in few lines what belongs in it and what does not."""
    told = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return "ot here:" in told and len(told.splitlines()) <= 6


def test_a_room_that_says_nothing_of_what_does_not_belong_is_seen(tmp_path: Path) -> None:
    file = tmp_path / "__init__.py"
    file.write_text('"""Everything.\n\nNot here: nothing."""\n')
    assert says_what_belongs(file)
    for told in ('"""Everything."""\n', "", '"""Long.\n\n' + "x\n" * 6 + 'Not here: nothing."""\n'):
        file.write_text(told)
        assert not says_what_belongs(file)


def test_the_newcomers_map_names_files_that_are_there() -> None:
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named_files = set(re.findall(r"`((?:\w+/)*\w+\.(?:py|toml|md))`", told))
    listed = [path.as_posix() for folder in TOP_LEVEL for path in (ROOT / folder).rglob("*.*")]
    listed += [(ROOT / name).as_posix() for name in TOP_LEVEL]
    assert [name for name in sorted(named_files) if not any(p.endswith(f"/{name}") for p in listed)] == []
