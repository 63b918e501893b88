"""Folders that runs which were killed have left in the system's folder for passing files."""

import os
import shutil
import stat
import tempfile
import time
from pathlib import Path
from typing import Final

PREFIX: Final = "pricing-"
"""How such folders begin."""

KEYS: Final = "pricing-keys-"
"""How the folder of keys held begins, which stays."""

OLD_SECONDS: Final = 86_400.0
"""Since its last change, after which nobody works in a folder any more."""


def remove_leftovers(folder: Path | None = None) -> int:
    """Remove this user's folders there that nothing has changed in for a day; returns how many."""
    place, removed = Path(tempfile.gettempdir()) if folder is None else folder, 0
    for left in place.glob(f"{PREFIX}*"):
        try:
            known = left.lstat()
        except OSError:
            continue
        mine = not hasattr(os, "getuid") or known.st_uid == os.getuid()
        old = time.time() - known.st_mtime > OLD_SECONDS
        if stat.S_ISDIR(known.st_mode) and mine and old and not left.name.startswith(KEYS):
            shutil.rmtree(left, ignore_errors=True)
            removed += not left.exists()
    return removed
