"""What came of writes that were asked for under an idempotency key, so that asking again does nothing again.

The key is the caller's word for one piece of work (IETF draft "The Idempotency-Key HTTP Header Field",
revision 07). What came of the work is written down in the work's own transaction: both are kept or neither
is, whenever the process ends. While the work is done its key is held by an advisory lock, which goes with
the process, so that the same work is not begun twice at once; were that lock lost, the transaction still
finds the key used.
"""

import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pricing.errors import DoneMeanwhileError, MarketError
from pricing.store.audit import now
from pricing.store.connection import Connect, Opened, add_row, keeper_of, run

try:
    import fcntl
except ImportError:  # pragma: no cover - Windows
    fcntl = None  # type: ignore[assignment]


@dataclass(frozen=True)
class IdempotencyKey:
    """What a write is asked for under: ``key`` is a digest of the caller's key, ``request`` one of what is
    asked, ``status`` what the work is answered with."""

    key: str
    request: str
    status: int


@dataclass(frozen=True)
class KeptAnswer:
    """What came of a write: ``request`` is a digest of what was asked, ``result`` names what was made."""

    request: str
    status: int
    result: dict[str, Any]


def keep_result(opened: Opened, idempotency: IdempotencyKey | None, result: Mapping[str, Any]) -> None:
    """Write down what comes of a piece of work, in its own transaction; nothing where there is no key. Raises
    ``DoneMeanwhileError`` where something was done under the key already; the transaction is then undone."""
    if idempotency is None:
        return
    if run(opened, "SELECT 1 FROM answers WHERE key = ?", [idempotency.key]):
        raise DoneMeanwhileError("the work under this key was done meanwhile")
    add_row(
        opened, "answers",
        key=idempotency.key, request=idempotency.request, status=idempotency.status,
        content=json.dumps(result), made_at=now(),
    )  # fmt: skip


@contextmanager
def _held_here(path: Path, key: str) -> Iterator[bool]:
    """Hold a key by the lock of a file of its own, which is gone afterwards."""
    if fcntl is None:  # pragma: no cover - Windows
        yield True
        return
    folder = Path(tempfile.gettempdir()) / f"pricing-keys-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    facts = folder.lstat()
    if not stat.S_ISDIR(facts.st_mode) or facts.st_uid != os.getuid() or facts.st_mode & 0o077:
        raise MarketError(f"{folder} is not a folder of this user alone: remove it, or set TMPDIR to another")
    name = folder / hashlib.sha256(f"{path.absolute()} {key}".encode()).hexdigest()
    with os.fdopen(os.open(name, os.O_CREAT | os.O_RDWR | os.O_NOFOLLOW, 0o600), "r+b") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
            return
        try:
            yield True
        finally:
            name.unlink(missing_ok=True)


class KeptAnswers:
    """What came of writes under idempotency keys: ``Market.answers``."""

    def __init__(self, path: Path, connect: Connect) -> None:
        self._path = path
        self._connect = connect

    def kept(self, key: str) -> KeptAnswer | None:
        """What came of the write under a key, if there was one."""
        with self._connect() as opened:
            rows = run(opened, "SELECT request, status, content FROM answers WHERE key = ?", [key])
        return KeptAnswer(rows[0][0], rows[0][1], json.loads(rows[0][2])) if rows else None

    def key_held(self, key: str) -> AbstractContextManager[bool]:
        """Hold a key while its work is done; false when it is held elsewhere: by any program on this machine,
        or on any machine where a server keeps the market. Raises ``ServerAwayError`` when that is away."""
        keeper = keeper_of(self._path)
        return _held_here(self._path, key) if keeper is None else keeper.key_held(self._path, key)
