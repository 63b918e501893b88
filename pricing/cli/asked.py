"""What was asked of a command's answer, while it runs."""

from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Output:
    """What was asked of a command's answer."""

    as_json: bool = False
    quiet: bool = False
    verbose: bool = False


_AS_TEXT: Final = Output()
ASKED: Final = ContextVar("output", default=_AS_TEXT)


def quiet() -> bool:
    """Whether nothing but answers, warnings and errors is wanted."""
    return ASKED.get().quiet


def as_json() -> bool:
    """Whether the answer is to be JSON, and nothing else on standard output."""
    return ASKED.get().as_json
