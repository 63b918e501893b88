"""Another file in the place of a market's, in one step under the write lock; what stood there is kept."""

import os
import shutil
from contextlib import suppress
from pathlib import Path
from typing import Final

from pricing.errors import FileError, MarketError
from pricing.store.audit import now
from pricing.store.connection import TIMEOUT_SECONDS, make_one_file, write_turn, written_ahead

ASIDE: Final = ".before-"
"""Stands in the name of a file that was put aside, before the time."""


def replace_file(path: Path, draft: Path, *, timeout: float = TIMEOUT_SECONDS) -> Path | None:
    """Put ``draft`` in the place of the market file; returns what stood there, now under a name with the
    time.

    Writers wait meanwhile, and what was acknowledged before is in the file put aside: its log is taken into
    it first, if it can be read. At every moment there is a whole file at ``path``, the old or the new.

    Raises:
        FileError: there is a file of the name for what is put aside.
        MarketError: the market stays in use for ``timeout`` seconds.
    """
    make_one_file(draft)
    _to_disk(draft)
    aside = None
    with write_turn(path, timeout) as take_in_log:
        if path.exists():
            aside = path.with_name(f"{path.stem}{ASIDE}{now():%Y%m%dT%H%M%SZ}{path.suffix}")
            if aside.exists():
                raise FileError(f"{aside}: there is a file of that name already; nothing was restored")
            whole = take_in_log()
            _second_name(path, aside)
            ahead = written_ahead(path)
            if not whole and ahead.exists():
                ahead.rename(written_ahead(aside))
        draft.replace(path)
        _to_disk(path.parent)
    return aside


def put_aside(path: Path) -> list[Path]:
    """The markets that were put aside from a place, newest last."""
    beside = f"{path.stem}{ASIDE}"
    files = [
        file
        for file in path.parent.glob(f"*{path.suffix}")
        if file.name.startswith(beside) and file.is_file()
    ]
    return sorted(files)


def refuse_to_shadow(path: Path) -> None:
    """Refuse to begin an empty market where one was put aside.

    Raises:
        MarketError: there is one.
    """
    aside = put_aside(path)
    if aside:
        raise MarketError(
            f"{path} does not exist, but {aside[-1].name} beside it was put aside from there: rename it to "
            f"{path.name} to go on with it, or move it elsewhere to begin anew"
        )


def _second_name(path: Path, kept: Path) -> None:
    """The same file under a second name, or a copy of it where a file system has no links."""
    try:
        os.link(path, kept)
    except FileExistsError:
        raise FileError(f"{kept}: there is a file of that name already; nothing was restored") from None
    except OSError:
        part = kept.with_name(f".{kept.name}.part")
        shutil.copyfile(path, part)
        _to_disk(part)
        part.rename(kept)


def _to_disk(path: Path) -> None:
    """Have the system write a file or folder down; some have no such call for folders."""
    opened = os.open(path, os.O_RDONLY)
    try:
        with suppress(OSError):
            os.fsync(opened)
    finally:
        os.close(opened)
