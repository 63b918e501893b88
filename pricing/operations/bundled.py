"""Where dashboard and demo market lie: inside the package as it is installed, beside it in a checkout.

Installed they are no top-level packages, whose names would be too general for an environment shared with
others; a program that runs them puts their folder in front of what it imports.
"""

import sys
from pathlib import Path


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
