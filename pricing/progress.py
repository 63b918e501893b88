"""How far long work is: told by whatever works, shown by whoever asked for it."""

from collections.abc import Callable

Progress = Callable[[str, int, int], None]
"""Called with a step in words, how many are done, and of how many."""


def untold(step: str, done: int, total: int) -> None:
    """Progress that nobody looks at."""
