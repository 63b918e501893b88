"""What nobody foresaw: a code by which the same failure is found again, and a log that tells the rest."""

import hashlib
import os
import traceback
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

LOG_NAME: Final = "failures.log"
LARGEST_LOG: Final = 5_000_000
"""Bytes; a log that has grown as large begins anew."""


def failure_code(error: BaseException) -> str:
    """The kind of failure, by what was raised and where, whatever its words say.

    >>> failure_code(ValueError("a")) == failure_code(ValueError("b")) != failure_code(KeyError("a"))
    True
    >>> len(failure_code(ValueError()))
    10
    """
    places = [f"{Path(step.filename).name}:{step.name}" for step in traceback.extract_tb(error.__traceback__)]
    kind = "\n".join([type(error).__qualname__, *places[-5:]])
    return f"F-{hashlib.sha256(kind.encode('utf-8', 'replace')).hexdigest()[:8]}"


def keep_failure(error: BaseException, folder: Path) -> Path | None:
    """Write a failure into the log of a folder, which is made; returns the log, ``None`` where it cannot be
    written. Only its owner may read it."""
    log = folder / LOG_NAME
    trace = "".join(traceback.format_exception(error))
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        begins_anew = log.exists() and log.stat().st_size > LARGEST_LOG
        flags = os.O_WRONLY | os.O_CREAT | (os.O_TRUNC if begins_anew else os.O_APPEND)
        with open(os.open(log, flags, 0o600), "ab") as file:
            head = f"{datetime.now(UTC).isoformat(timespec='seconds')} {failure_code(error)}\n"
            file.write(f"{head}{trace}\n".encode("utf-8", "backslashreplace"))
    except OSError:
        return None
    return log
