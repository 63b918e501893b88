"""Where the files of the invented demo market lie that stand in until a person has their own."""

from pathlib import Path
from typing import Final

from pricing.operations.bundled import bundled_folder

DEMO: Final[Path] = bundled_folder() / "data_demo"

EXTENSIONS: Final = DEMO / "sheets"
"""Sheets of checks for single models."""

DEMO_CATALOGUE: Final = DEMO / "repair_catalogue.toml"
DEMO_CHARGES: Final = DEMO / "example_charges.toml"
