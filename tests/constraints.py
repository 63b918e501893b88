"""Writes `pricing/constraints.txt`, the versions installed here of all that the extras need:
`.venv/bin/python -m tests.constraints`."""

import sys
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Final

from packaging.requirements import Requirement

FILE: Final = Path(__file__).parent.parent / "pricing/constraints.txt"

HEAD: Final = """\
# Versions that the tests have passed with together: pip install -c constraints.txt with the extras.
# Written by the command in tests/constraints.py. The package itself has lower bounds alone, and leaves
# out a version only where it is known to break.
"""


def tested(project: str, extras: tuple[str, ...]) -> dict[str, str]:
    """The version of every distribution that a project needs with some extras, itself left out."""
    found: dict[str, str] = {}
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
        if name != project:
            found[name] = installed.version
        for line in installed.requires or ():
            needed = Requirement(line)
            if needed.marker is None or needed.marker.evaluate({"extra": extra}):
                waiting += [(needed.name.lower().replace("_", "-"), more) for more in ("", *needed.extras)]
    return dict(sorted(found.items()))


def main() -> None:
    lines = [f"{name}=={version}" for name, version in tested("classic-car-pricing", ("all",)).items()]
    FILE.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    sys.stdout.write(f"{FILE}: {len(lines)} versions\n")


if __name__ == "__main__":
    main()
