"""Writes what a release is made of, by `.venv/bin/python -m tests.constraints`.

`pricing/constraints.txt`, the versions installed here of all that the extras need; `pricing/lock.txt`, the
same with the digest of every file of every platform, by uv; `pricing/sbom.cdx.json`, the bill of materials
(CycloneDX 1.6, ECMA-424).
"""

import json
import subprocess
import sys
import uuid
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any, Final

from packaging.requirements import Requirement

ROOT: Final = Path(__file__).parent.parent
FILE: Final = ROOT / "pricing/constraints.txt"
LOCK: Final = ROOT / "pricing/lock.txt"
BILL: Final = ROOT / "pricing/sbom.cdx.json"
PROJECT: Final = "classic-car-pricing"

HEAD: Final = """\
# Versions that the tests have passed with together: pip install -c constraints.txt with the extras.
# Written by the command in tests/constraints.py. The package itself has lower bounds alone, and leaves
# out a version only where it is known to break.
"""


def tested(project: str, extras: tuple[str, ...]) -> tuple[dict[str, str], dict[str, set[str]]]:
    """The version of every distribution that a project needs with some extras, itself left out; and what each
    needs, itself among them."""
    found: dict[str, str] = {}
    needs: dict[str, set[str]] = {}
    seen = set()
    waiting = [(project, extra) for extra in ("", *extras)]
    while waiting:
        name, extra = waiting.pop()
        if (name, extra) in seen:
            continue
        seen.add((name, extra))
        try:
            installed = distribution(name)
        except PackageNotFoundError:
            continue  # of another system, or not of this one's tests
        found[name] = installed.version
        for line in installed.requires or ():
            needed = Requirement(line)
            if needed.marker is None or needed.marker.evaluate({"extra": extra}):
                other = needed.name.lower().replace("_", "-")
                needs.setdefault(name, set()).add(other)
                waiting += [(other, more) for more in ("", *needed.extras)]
    del found[project]
    return dict(sorted(found.items())), needs


def lock() -> str:
    """The tested versions with their digests, for every platform and Python that is allowed; asks the package
    index."""
    done = subprocess.run(
        [sys.executable, "-m", "uv", "pip", "compile", "pyproject.toml", "--extra", "all", "-c", FILE,
         "--generate-hashes", "--universal", "--python-version", "3.11", "--no-header", "--no-annotate",
         "-q"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    head = "# Tested versions with the digests of their files: pip install --require-hashes -r lock.txt\n"
    return head + done.stdout


def bill_of_materials(versions: dict[str, str], needs: dict[str, set[str]]) -> dict[str, Any]:
    """What the package needs with all its extras: versions, licences, and what needs what."""
    names = {PROJECT: distribution(PROJECT).version} | versions
    parts = []
    for name, version in names.items():
        told = distribution(name).metadata
        expression, plain = (told[key] if key in told else "" for key in ("License-Expression", "License"))
        licence = {"expression": expression} if expression else {"license": {"name": plain}}
        part = {
            "type": "application" if name == PROJECT else "library", "bom-ref": name, "name": name,
            "version": version, "purl": f"pkg:pypi/{name}@{version}",
        }  # fmt: skip
        parts.append(part | ({"licenses": [licence]} if expression or (plain and len(plain) < 60) else {}))
    bill = {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json", "bomFormat": "CycloneDX",
        "specVersion": "1.6", "version": 1, "metadata": {"component": parts[0]}, "components": parts[1:],
        "dependencies": [
            {"ref": name, "dependsOn": sorted(needs.get(name, set()) & set(versions))} for name in names
        ],
    }  # fmt: skip
    serial = uuid.uuid5(uuid.NAMESPACE_URL, json.dumps(bill, sort_keys=True))
    return bill | {"serialNumber": f"urn:uuid:{serial}"}


def main() -> None:
    versions, needs = tested(PROJECT, ("all",))
    lines = [f"{name}=={version}" for name, version in versions.items()]
    FILE.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    LOCK.write_text(lock(), encoding="utf-8")
    BILL.write_text(json.dumps(bill_of_materials(versions, needs), indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(f"{FILE}, {LOCK}, {BILL}: {len(lines)} versions\n")


if __name__ == "__main__":
    main()
