"""What was made and is kept in memory."""

import threading
from collections.abc import Callable, Hashable
from typing import Final, TypeVar, cast

Made = TypeVar("Made")

_NOTHING: Final = object()


class Memo:
    """What was made, under what it was asked for by; each is made once, however many threads ask."""

    def __init__(self) -> None:
        self._made: dict[Hashable, object] = {}
        self._under_way: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def __contains__(self, key: Hashable) -> bool:
        return key in self._made

    def get(self, key: Hashable, make: Callable[[], Made], most: int | None = None) -> Made:
        """What is under ``key``, made now if need be. Of keys that are tuples and begin alike the ``most``
        that were made last are kept.

        >>> memo = Memo()
        >>> [memo.get(("square", n), lambda: n * n, most=2) for n in (2, 3, 4)], ("square", 2) in memo
        ([4, 9, 16], False)
        """
        made = self._made.get(key, _NOTHING)
        if made is not _NOTHING:
            return cast("Made", made)
        with self._lock:
            under_way = self._under_way.setdefault(key, threading.Lock())
        with under_way:
            made = self._made.get(key, _NOTHING)
            if made is _NOTHING:
                made = make()
                with self._lock:
                    self._made[key] = made
                    del self._under_way[key]
                    if most is not None and isinstance(key, tuple):
                        alike = [one for one in self._made if isinstance(one, tuple) and one[0] == key[0]]
                        for old in alike[:-most]:
                            del self._made[old]
            return cast("Made", made)
