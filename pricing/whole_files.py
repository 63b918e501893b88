"""Files written whole or not at all."""

import os
from pathlib import Path

from pricing.errors import FileError


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it there. Raises ``FileError`` where it cannot be written; what
    stood there stands as before."""
    part = path.with_name(path.name + ".part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())  # else a name may be kept by a power failure, and nothing under it
        part.replace(path)
    except OSError as error:
        raise FileError(f"{path}: cannot be written: {error.strerror}") from None
