"""Of other libraries only what they publish is used; what is not stands in a table of DEVELOPERS.md with its
reason."""

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
HEADING = "## Private parts of other libraries"
OURS = {"pricing", "dashboards", "data_demo", "tests"}
UNPUBLISHED = ("streamlit.runtime", "streamlit.web", "streamlit.delta_generator", "streamlit.proto",
               "uvicorn.protocols", "dataframely.filter_result")  # fmt: skip
"""Modules whose names say nothing and whose documentation does not list them."""

Use = tuple[str, str]


def is_private(name: str) -> bool:
    """``_asdict`` and its like of a named tuple are documented."""
    return name.startswith("_") and not re.fullmatch(r"__\w+__|_asdict|_fields|_make|_replace", name)


def own_names(tree: ast.AST) -> Iterator[str]:
    """Names that a file gives to anything: functions, variables, attributes of ``self``, parameters."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.id if isinstance(node, ast.Name) else node.attr
        elif isinstance(node, ast.arg):
            yield node.arg


def private_uses(tree: ast.AST, own: set[str]) -> Iterator[str]:
    """Private or unpublished names of other packages: imported, reached into, or named in a text."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from filter(is_private_module, (alias.name for alias in node.names))
        elif isinstance(node, ast.ImportFrom):
            yield from filter(is_private_module, (f"{node.module}.{alias.name}" for alias in node.names))
        elif isinstance(node, ast.Attribute) and is_private(node.attr) and node.attr not in own:
            yield node.attr
        elif isinstance(node, ast.Call):
            said = [text.value for text in node.args if isinstance(text, ast.Constant)]
            texts = [text for text in said if isinstance(text, str)]
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if name in {"import_module", "__import__", "find_spec"}:
                yield from filter(is_private_module, texts)
            elif name in {"getattr", "setattr", "hasattr", "delattr", "attrgetter"}:
                yield from (text for text in texts if is_private(text) and text not in own)


def is_private_module(name: str) -> bool:
    top, *_ = parts = name.split(".")
    if top in OURS or top in sys.stdlib_module_names and not any(map(is_private, parts[1:])):
        return False
    return any(map(is_private, parts)) or name.startswith(UNPUBLISHED)


def uses(files: dict[str, ast.Module]) -> set[Use]:
    own = {name for tree in files.values() for name in own_names(tree)}
    return {(path, name) for path, tree in files.items() for name in private_uses(tree, own)}


def listed() -> dict[Use, str]:
    """The rows of the table in DEVELOPERS.md: file, name, and the reason."""
    (text,) = re.findall(
        rf"^{HEADING}\n(.*?)(?=^## |\Z)", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.M | re.S
    )
    rows = re.findall(r"^\| `([^`]+)` \| `([^`]+)` \| (.+) \|$", text, re.M)
    return {(path, name): reason for path, name, reason in rows}


def test_every_private_name_of_another_library_is_listed_with_its_reason() -> None:
    files = {
        path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for folder in OURS
        for path in sorted((ROOT / folder).rglob("*.py"))
    }
    assert uses(files) == set(listed())
    assert all(listed().values())


def test_every_way_to_reach_into_a_library_is_seen() -> None:
    text = """
import sklearn._loss
import importlib, threading
from sklearn.ensemble._forest import RandomForestRegressor
from polars import _reexport
from streamlit.runtime.state import get_session_state
from pricing.money.currencies import _last_known
import __future__
model._predictors; self._own = model.__dict__; self._own; other._own
getattr(model, "_bin_mapper")
importlib.import_module("sklearn.tree._tree")
"""
    found = uses({"x.py": ast.parse(text)})
    assert {name for _, name in found} == {
        "sklearn._loss", "sklearn.ensemble._forest.RandomForestRegressor", "polars._reexport",
        "streamlit.runtime.state.get_session_state", "_predictors", "_bin_mapper", "sklearn.tree._tree",
    }  # fmt: skip
