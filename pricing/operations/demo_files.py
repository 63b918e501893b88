"""Where the files of the invented demo market lie that stand in until a person has their own."""

from importlib.resources import files
from pathlib import Path
from typing import Final

DEMO: Final = Path(str(files("data_demo")))

EXTENSIONS: Final = DEMO / "sheets"
"""Sheets of checks for single models."""

DEMO_CATALOGUE: Final = DEMO / "repair_catalogue.toml"
DEMO_CHARGES: Final = DEMO / "example_charges.toml"
