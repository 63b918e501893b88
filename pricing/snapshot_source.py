"""The newest snapshot of a market, renewed when the market has changed; one for all of a process."""

import threading
import time
from functools import lru_cache
from pathlib import Path
from typing import Final

from pricing.errors import InUseError, MarketError
from pricing.snapshot import Snapshot
from pricing.store.connection import writes_here, written_ahead
from pricing.store.market import Market
from pricing.store.opening import base_currency_of
from pricing.store.place import is_copy, server_address

LOOK_SECONDS: Final = 0.25
"""Between two looks at whether the market has changed."""

LOOK_SECONDS_AWAY: Final = 2.0
"""The same where a look is a question to another machine."""

RENEWAL_TIMEOUT: Final = 0.0
"""Seconds that a renewal waits for a writer while there is an older snapshot to answer from."""

MARKETS_KEPT: Final = 4
"""Markets of which a process keeps a snapshot in memory."""


def source_of(place: str | Path) -> "SnapshotSource":
    """What gives the snapshots of the market at a place, the same for all who ask in this process."""
    return _source(str(place) if server_address(place) else str(Path(place).absolute()))


@lru_cache(MARKETS_KEPT)
def _source(place: str) -> "SnapshotSource":
    return SnapshotSource(place)


class SnapshotSource:
    """Keeps the newest snapshot of one market; any thread may ask. What this process writes to the market is
    seen at once, what others write within ``LOOK_SECONDS``."""

    def __init__(self, place: str) -> None:
        """``place``: a market file, or the address of a server."""
        self.place = place
        self._lock = threading.Lock()
        self._snapshot: Snapshot | None = None
        self._stamp: object = None
        self._writes = 0
        self._next_look = 0.0

    @property
    def due(self) -> bool:
        """Whether ``newest`` would look at the market; if not, it answers at once."""
        snapshot = self._snapshot
        return (
            snapshot is None
            or time.monotonic() >= self._next_look
            or writes_here(snapshot.path) != self._writes
        )

    def newest(self) -> Snapshot:
        """The market as it is, or as it was a moment ago; while another process writes, as it was before.
        Raises ``MarketError`` where there is no market, or it cannot be opened."""
        snapshot = self._snapshot
        if snapshot is not None and not self.due:
            return snapshot
        if snapshot is not None and self._writes == writes_here(snapshot.path) and self._lock.locked():
            return snapshot  # another thread is looking
        with self._lock:
            return self._look()

    def _look(self) -> Snapshot:
        snapshot = self._snapshot
        market = Market.open(self.place, create=False) if snapshot is None else snapshot.market
        stamp, writes = _stamp(market.path), writes_here(market.path)
        if snapshot is None:
            snapshot = Snapshot.of(market)
        elif stamp != self._stamp:
            try:
                snapshot = self._renewed(snapshot)
            except MarketError as error:
                # It is being written to, or its server is away: left for the next look.
                passing = isinstance(error, InUseError) or is_copy(market.path)
                if not passing or not market.path.exists():
                    raise
                stamp, writes = self._stamp, self._writes
        self._snapshot, self._stamp, self._writes = snapshot, stamp, writes
        self._next_look = time.monotonic() + (LOOK_SECONDS_AWAY if is_copy(market.path) else LOOK_SECONDS)
        return snapshot

    def _renewed(self, snapshot: Snapshot) -> Snapshot:
        """The market as it is; a file may stand there that is another market, or of an earlier version."""
        market = snapshot.market
        if not is_copy(market.path):
            base_currency = base_currency_of(market.path, RENEWAL_TIMEOUT)
            if base_currency != market.base_currency:
                return Snapshot.of(Market.open(self.place, create=False))
        return snapshot.renewed(market.state(RENEWAL_TIMEOUT))


def _stamp(path: Path) -> object:
    """What changes with any write: size and time of the file and of what is written ahead of it. A local copy
    of a server's market is asked for every time."""
    if is_copy(path):
        return object()
    stamps: list[tuple[int, int, int] | None] = []
    for file in (path, written_ahead(path)):
        try:
            facts = file.stat()
            stamps.append((facts.st_ino, facts.st_mtime_ns, facts.st_size))
        except OSError:
            stamps.append(None)
    return tuple(stamps)
