"""Everything public says what it is."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
Defined = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def undocumented(body: list[ast.stmt], front: str = "") -> Iterator[str]:
    """Public classes, functions and methods without a docstring; of a property the
    getter tells."""
    for node in body:
        if not isinstance(node, Defined) or node.name.startswith("_"):
            continue
        setter = any(
            isinstance(part, ast.Attribute) and part.attr == "setter" for part in node.decorator_list
        )
        if not setter and not ast.get_docstring(node):
            yield f"{front}{node.name}"
        if isinstance(node, ast.ClassDef):
            yield from undocumented(node.body, f"{front}{node.name}.")


@pytest.mark.parametrize("folder", ["pricing", "dashboards", "data_demo"])
def test_every_public_name_has_a_docstring(folder: str) -> None:
    found = {
        str(path.relative_to(ROOT)): names
        for path in sorted((ROOT / folder).rglob("*.py"))
        if (names := list(undocumented(ast.parse(path.read_text(encoding="utf-8")).body)))
    }
    assert found == {}
