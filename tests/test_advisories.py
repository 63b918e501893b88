"""No dependency may be of a version with a known weakness, as far as this can be told without a network.

The table is kept by hand: pip-audit asks databases that a machine without a network does not reach. Where
there is one, ``pip-audit`` says more.
"""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ADVISORIES = """
authlib            1.9.0    CVE-2026-114617      osv.dev
authlib            1.8.0    PYSEC-2026-4354      osv.dev
authlib            1.6.5    CVE-2025-61920       NVD
babel              2.9.1    CVE-2021-42771       from memory
duckdb             1.1.0    CVE-2024-41672       from memory
fastapi            0.109.1  CVE-2024-24762       from memory
h11                0.16.0   CVE-2025-43859       from memory
httpx              0.23.0   CVE-2021-41945       from memory
jinja2             3.1.6    CVE-2025-27516       from memory
pdfminer.six       20251230 CVE-2025-70559       from memory
pdfminer.six       20251107 CVE-2025-64512       from memory
numpy              1.22.0   CVE-2021-34141       from memory
pillow             13.0.0   CGA-6r43-cc9v-c6c4   osv.dev
pillow             12.1.1   CVE-2026-25990       GitHub advisory
protobuf           6.31.1   CVE-2025-4565        from memory
pyarrow            14.0.1   CVE-2023-47248       CVE record
pydantic           2.4.0    CVE-2024-3772        from memory
python-docx        0.8.6    CVE-2016-5851        from memory
python-multipart   0.0.30   CVE-2026-53538       GHSA-6jv3-5f52-599m
python-multipart   0.0.27   CVE-2026-42561       ubuntu.com
requests           2.32.4   CVE-2024-47081       from memory
scikit-learn       1.5.0    CVE-2024-5206        from memory
setuptools         78.1.1   CVE-2025-47273       from memory
starlette          1.3.0    PYSEC-2026-248       osv.dev
starlette          1.0.1    CVE-2026-48710       GHSA-86qp-5c8j-p5mr
starlette          0.49.1   CVE-2025-62727       GHSA-7f5h-v6xp-fcq8
streamlit          1.54.0   CVE-2026-33682       PYSEC-2026-2285
urllib3            2.6.0    CVE-2025-66418       from memory
uvicorn            0.11.7   CVE-2020-7694        from memory
"""
"""Name, the first version without the weakness, its name, and where that was read in November 2026."""

ROWS = [(name, Version(fixed), advisory) for name, fixed, advisory, _ in
        (line.split(maxsplit=3) for line in ADVISORIES.strip().splitlines())]  # fmt: skip
PARTS = ("dashboard", "api", "documents")
"""Optional parts that the tests need."""

PROJECT = tomllib.loads((Path(__file__).parent.parent / "pyproject.toml").read_text(encoding="utf-8"))


def stated() -> dict[str, Requirement]:
    """What the project asks for to run or to be built: its own, and those of its optional parts."""
    return asked_for(*PARTS, "server", "client", "signin") | {
        canonicalize_name(found.name): found
        for found in map(Requirement, PROJECT["build-system"]["requires"])
    }


def asked_for(*parts: str) -> dict[str, Requirement]:
    """What the project and optional parts of it ask for, the project itself aside."""
    optional = PROJECT["project"]["optional-dependencies"]
    lines = [*PROJECT["project"]["dependencies"], *(line for part in parts for line in optional[part])]
    found = {canonicalize_name(asked.name): asked for asked in map(Requirement, lines)}
    return {name: asked for name, asked in found.items() if name != PROJECT["project"]["name"]}


def lowest(requirement: Requirement) -> Version:
    """The lowest version that a requirement lets in."""
    (least,) = [found.version for found in requirement.specifier if found.operator == ">="]
    return Version(least)


@pytest.mark.parametrize(("name", "fixed", "advisory"), ROWS, ids=[row[2] for row in ROWS])
def test_no_version_with_a_known_weakness_is_asked_for_or_installed(
    name: str, fixed: Version, advisory: str
) -> None:
    if name in stated():
        assert lowest(stated()[name]) >= fixed, f"{name} before {fixed}: {advisory}"
    if name != "setuptools":  # builds the project in an environment of its own
        try:
            assert Version(version(name)) >= fixed, f"{name} before {fixed}: {advisory}"
        except PackageNotFoundError:
            assert name in ("authlib", "requests", "urllib3"), "only a part that is left out may be absent"


def test_every_dependency_says_from_which_version_on() -> None:
    without = [name for name, found in stated().items() if not re.search(">=", str(found.specifier))]
    assert without == []


def test_what_is_installed_fits_together() -> None:
    """As ``pip check``, for what the project needs alone: other packages beside it may be at odds."""
    project = PROJECT["project"]["name"]
    waiting, seen, wrong = [project], set(), []
    while waiting:
        name = canonicalize_name(waiting.pop())
        if name in seen:
            continue
        seen.add(name)
        own = (str(asked) for asked in asked_for(*PARTS).values())
        for line in own if name == project else requires(name) or []:
            asked = Requirement(line)
            if asked.marker is not None and not asked.marker.evaluate({"extra": ""}):
                continue
            if Version(version(asked.name)) not in asked.specifier:
                wrong.append(f"{name} asks for {line}; {version(asked.name)} is installed")
            waiting.append(asked.name)
    assert len(seen) > 40 and wrong == []
