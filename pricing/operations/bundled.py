"""Where dashboard and demo market lie, inside the package as it is installed, beside it in a checkout; the
files of the demo market, which stand in until a person has their own; and those that a server needs.

Installed they are no top-level packages, whose names would be too general for an environment shared with
others; a program that runs them puts their folder in front of what it imports.
"""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from pricing.errors import FileError


def bundled_folder() -> Path:
    """The folder that holds ``dashboards`` and ``data_demo``.

    >>> (bundled_folder() / "dashboards" / "app.py").is_file()
    True
    """
    package = Path(__file__).parents[1]
    inside = package / "bundled"
    return inside if inside.is_dir() else package.parent


def import_bundled() -> None:
    """Let this program import ``dashboards`` and ``data_demo``, before all others of their names."""
    folder = str(bundled_folder())
    if sys.path[:1] != [folder]:
        sys.path.insert(0, folder)


DEMO: Final[Path] = bundled_folder() / "data_demo"

EXTENSIONS: Final = DEMO / "sheets"
"""Sheets of checks for single models."""

DEMO_CATALOGUE: Final = DEMO / "repair_catalogue.toml"
DEMO_CHARGES: Final = DEMO / "example_charges.toml"

_WRITTEN: Final = (
    "raw",
    "sheets",
    "appraisals",
    "opinions.csv",
    "repair_catalogue.toml",
    "example_charges.toml",
)


def write_demo_files(folder: Path) -> list[Path]:
    """Copy the files of the demo market into a new folder: sale records, statements, sheets, schedules and an
    appraisal filled in; returns what is written, in order.

    Raises:
        FileError: the folder is there already, or cannot be written.
    """
    paths = (path for name in _WRITTEN for path in (DEMO / name, *(DEMO / name).rglob("*")) if path.is_file())
    return _write(folder, {str(path.relative_to(DEMO)): path.read_bytes() for path in sorted(paths)})


DEPLOYMENT: Final = Path(__file__).with_name("deployment")
PROGRAM: Final = "/usr/local/bin/pricing"
SERVED_MARKET: Final = "/var/lib/classic-car-pricing/market.duckdb"


def write_server_files(folder: Path, program: str = PROGRAM, market: str = SERVED_MARKET) -> list[Path]:
    """Write units, timers, environment file, user, container file and proxy example into a new folder, for
    whoever runs a server to read and put in place.

    ``program`` is the installed command line, ``market`` what the server is to serve.

    Raises:
        FileError: there is something of that name, or it cannot be written.
    """
    files = {}
    for source in sorted(DEPLOYMENT.iterdir()):
        text = source.read_text(encoding="utf-8").replace(PROGRAM, program)
        text = text.replace(f"PRICING_MARKET={SERVED_MARKET}", f"PRICING_MARKET={market}")
        files[source.name] = text.encode()
    return _write(folder, files)


def _write(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write files into a new folder."""
    try:
        folder.mkdir(parents=True)
        for name, content in files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)
    except FileExistsError:
        raise FileError(f"{folder} exists already; name a folder that does not") from None
    except OSError as error:
        raise FileError(f"{folder}: cannot be written: {error.strerror or error}") from None
    return [folder / name for name in files]
