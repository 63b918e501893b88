"""What other installed packages add: readers of files, inspection sheets and repair catalogues.

Each is an entry point (Python packaging user guide, "Entry points specification"), named in the package's own
metadata. Nothing of such a package is imported before it is asked for.
"""

import sys
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from pricing.errors import FileError

READERS: Final = "pricing.readers"
"""Name: the ending of the files, without its point. Value: a function that takes the ``Path`` of such a file
and gives a ``polars.DataFrame``, a row a record; it is run in the reading process."""

SHEETS: Final = "pricing.sheets"
"""Value: a package in whose folder sheets for single models lie, as TOML."""

CATALOGUES: Final = "pricing.catalogues"
"""Name: what the catalogue is called. Value: a package in whose folder it lies under that name, as TOML."""


def plugged(group: str) -> dict[str, EntryPoint]:
    """What there is of a group, by name in lower case; of two of one name the last by its value.

    >>> plugged("pricing.of-nobody")
    {}
    """
    return _entry_points(group, tuple(sys.path))


def plugged_folders(group: str) -> list[Path]:
    """The folder of each package that a group names. Raises ``FileError`` where there is no such package."""
    return [_folder(entry) for _, entry in sorted(plugged(group).items())]


def plugged_file(group: str, path: Path) -> Path:
    """The TOML file that a package has under a name, where ``path`` is no file and one does; else the path.

    >>> plugged_file(CATALOGUES, Path("nowhere.toml"))
    PosixPath('nowhere.toml')

    Raises:
        FileError: a package names a folder that is not there.
    """
    entry = plugged(group).get(str(path).lower())
    return path if entry is None or path.exists() else _folder(entry) / f"{entry.name}.toml"


@cache
def _entry_points(group: str, path: tuple[str, ...]) -> dict[str, EntryPoint]:
    """Looked for once in each ``path``, as it takes some hundredths of a second."""
    return {entry.name.lower(): entry for entry in sorted(entry_points(group=group))}


def _folder(entry: EntryPoint) -> Path:
    try:
        spec = find_spec(entry.module)
    except (ImportError, ValueError):
        spec = None
    places = None if spec is None else spec.submodule_search_locations
    if not places:
        raise FileError(
            f"an installed package names {entry.value!r} under {entry.group}, and there is no such package"
        )
    return Path(next(iter(places)))
