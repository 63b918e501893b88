"""Where the files of the invented demo market lie that stand in until a person has their own."""

from pathlib import Path
from typing import Final

from pricing.errors import FileError
from pricing.operations.bundled import bundled_folder

DEMO: Final[Path] = bundled_folder() / "data_demo"

EXTENSIONS: Final = DEMO / "sheets"
"""Sheets of checks for single models."""

DEMO_CATALOGUE: Final = DEMO / "repair_catalogue.toml"
DEMO_CHARGES: Final = DEMO / "example_charges.toml"

_GIVEN: Final = (
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
    given = [path for name in _GIVEN for path in (DEMO / name, *(DEMO / name).rglob("*")) if path.is_file()]
    written = sorted(folder / path.relative_to(DEMO) for path in given)
    try:
        folder.mkdir(parents=True)
        for path in written:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes((DEMO / path.relative_to(folder)).read_bytes())
    except FileExistsError:
        raise FileError(f"{folder} exists already; name a folder that does not") from None
    except OSError as error:
        raise FileError(f"{folder}: cannot be written: {error.strerror or error}") from None
    return written
