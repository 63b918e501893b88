"""Answers to writes that were asked for under an idempotency key, so that asking again does nothing again.

The key is the caller's word for one piece of work (IETF draft "The Idempotency-Key HTTP Header Field",
revision 07). While the work is done its key is held by an advisory lock, which goes with the process: after a
crash the key is free, and the work can be asked for again.
"""

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pricing.store_audit import now
from pricing.store_connection import PATIENCE_SECONDS, connection, run

try:
    import fcntl
except ImportError:  # pragma: no cover - Windows
    fcntl = None  # type: ignore[assignment]


@dataclass(frozen=True)
class KeptAnswer:
    """What was answered: ``request`` is a digest of what was asked, ``content`` the body."""

    request: str
    status: int
    content: str


@contextmanager
def key_held(path: Path, key: str) -> Iterator[bool]:
    """Hold a key while its work is done; false when another thread or process of this machine holds it."""
    if fcntl is None:  # pragma: no cover - Windows
        yield True
        return
    name = hashlib.sha256(f"{path.absolute()} {key}".encode()).hexdigest()
    folder = Path(tempfile.gettempdir()) / f"pricing-keys-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    file = os.open(folder / name, os.O_CREAT | os.O_RDWR | os.O_NOFOLLOW, 0o600)
    try:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
            return
        yield True
    finally:
        os.close(file)


def kept_answer(path: Path, key: str, *, patience: float = PATIENCE_SECONDS) -> KeptAnswer | None:
    """What was answered under a key, if anything was."""
    with connection(path, patience=patience) as opened:
        rows = run(opened, "SELECT request, status, content FROM answers WHERE key = ?", [key])
    return KeptAnswer(*rows[0]) if rows else None


def keep_answer(path: Path, key: str, answer: KeptAnswer, *, patience: float = PATIENCE_SECONDS) -> None:
    """Keep an answer under a key."""
    with connection(path, write=True, patience=patience) as opened:
        run(
            opened,
            "INSERT INTO answers VALUES (?, ?, ?, ?, ?)",
            [key, answer.request, answer.status, answer.content, now()],
        )
