"""The name of the request that is being worked on."""

import re
import secrets
from contextvars import ContextVar
from typing import Final

_CURRENT: Final[ContextVar[str]] = ContextVar("request_id", default="none")
_GIVEN: Final = re.compile(r"[A-Za-z0-9._-]{8,64}")


def request_id() -> str:
    """The request's name, `none` outside of any."""
    return _CURRENT.get()


def begin(given: str | None) -> str:
    """Name the request: as the caller has named it, if that is a plain word, else anew.

    >>> begin("desk-7.2026-06-30") == request_id(), len(begin("<script>"))
    (True, 16)
    """
    name = given if given is not None and _GIVEN.fullmatch(given) else secrets.token_hex(8)
    _CURRENT.set(name)
    return name
