"""What may be opened at all: regular files of a bounded size, and nothing that a link leads to elsewhere."""

import os
import stat
from pathlib import Path
from typing import Final

from pricing.errors import FileError

_KINDS: Final = (
    (stat.S_ISDIR, "a folder"), (stat.S_ISCHR, "a device"), (stat.S_ISBLK, "a device"),
    (stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"),
)  # fmt: skip


def regular_size(path: Path, most: int) -> int:
    """The size of a regular file in bytes, which is looked at before anything is read.

    >>> regular_size(Path("/dev/null"), 10)
    Traceback (most recent call last):
    pricing.errors.FileError: /dev/null cannot be read: it is a device, not a file

    Raises:
        FileError: there is none, it is a device, a pipe, a socket or a folder, or is larger than ``most``.
    """
    try:
        os.fsencode(path).decode()
    except UnicodeDecodeError:
        raise FileError(f"{path} cannot be read: its name is not UTF-8; give it another") from None
    try:
        facts = path.stat()
    except FileNotFoundError:
        raise FileError(f"{path} cannot be read: it does not exist") from None
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}") from None
    except ValueError as error:  # a zero byte, or what no name of a file can hold
        raise FileError(f"{str(path)!r} is no name of a file: {error}") from None
    for is_kind, kind in _KINDS:
        if is_kind(facts.st_mode):
            raise FileError(f"{path} cannot be read: it is {kind}, not a file")
    if facts.st_size > most:
        raise FileError(f"{path} cannot be read: it has {facts.st_size:,} bytes, at most {most:,} are read")
    return facts.st_size


def is_folder(path: Path) -> bool:
    """Whether there is a folder at a path, whatever the path is."""
    return os.path.isdir(path)


def inside(folder: Path, path: Path) -> bool:
    """Whether a path, its links followed, lies in a folder."""
    return path.resolve().is_relative_to(folder.resolve())


def bounded_bytes(path: Path, most: int) -> bytes:
    """The content of a regular file of at most ``most`` bytes, though it were exchanged meanwhile. Raises
    ``FileError`` as ``regular_size`` does, and where it cannot be read."""
    regular_size(path, most)
    try:
        opened = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(opened, "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise FileError(f"{path} cannot be read: it is not a file")
            content = file.read(most + 1)
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}") from None
    if len(content) > most:
        raise FileError(f"{path} cannot be read: it has more than {most:,} bytes")
    return content
