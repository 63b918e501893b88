"""How much each person keeps on the server in files given to pages: those live in memory for as long as the
page that they were given to."""

import time
from collections import Counter, defaultdict
from collections.abc import Callable
from typing import Final

from streamlit import runtime

UPLOADS: Final = "/_stcore/upload_file/"
"""Where pages bring files, with the page's session and the file's name after it."""

LINGERS: Final = 150.0
"""Seconds after which the files of a page that nobody has open any more are gone; Streamlit's are 120."""


def is_open(session: str) -> bool:
    """Whether somebody has the page of a session open."""
    return runtime.exists() and runtime.get_instance().is_active_session(session)


class UploadTotals:
    """Bytes that each person keeps, by page and file, ``session/name``.

    >>> totals = UploadTotals(100, lambda session: True)
    >>> totals.begin("ann", 60), totals.begin("ann", 60), totals.begin("ben", 60)
    (True, False, True)
    >>> totals.end("ann", "page/one", 60, kept=True)
    >>> totals.begin("ann", 60), totals.removed("page/one"), totals.begin("ann", 60)
    (False, None, True)
    """

    def __init__(
        self,
        most: int,
        opened: Callable[[str], bool] = is_open,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """``most``: bytes for one person; ``opened``: whether a session's page is open."""
        self._most = most
        self._opened = opened
        self._clock = clock
        self._arriving: Counter[str] = Counter()
        self._kept: defaultdict[str, dict[str, int]] = defaultdict(dict)
        self._left: dict[str, float] = {}

    def begin(self, person: str, size: int) -> bool:
        """Set room aside for a file that is to arrive; whether there is any."""
        for session in {file.partition("/")[0] for file in self._kept[person]}:
            if self._has_gone(session):
                kept = self._kept[person].items()
                self._kept[person] = {file: held for file, held in kept if file.partition("/")[0] != session}
        if self._arriving[person] + sum(self._kept[person].values()) + size > self._most:
            return False
        self._arriving[person] += size
        return True

    def end(self, person: str, file: str, size: int, *, kept: bool) -> None:
        """What there was room set aside for has arrived, and is kept or not."""
        self._arriving[person] -= size
        if kept:
            self._kept[person][file] = size

    def removed(self, file: str) -> None:
        """The file was taken away."""
        for kept in self._kept.values():
            kept.pop(file, None)

    def _has_gone(self, session: str) -> bool:
        if self._opened(session):
            self._left.pop(session, None)
            return False
        gone = self._clock() - self._left.setdefault(session, self._clock()) > LINGERS
        if gone:
            del self._left[session]
        return gone
