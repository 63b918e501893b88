"""Log lines as JSON, one object a line, each with the name of the request it belongs to."""

import json
import logging
import re
import secrets
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Final

from pricing.operations.configuration import masked

_STANDARD: Final = frozenset(vars(logging.LogRecord("", 0, "", 0, "", None, None))) | {
    "message", "asctime", "taskName", "color_message",
}  # fmt: skip


class JsonLines(logging.Formatter):
    """A record as one line of JSON: time (UTC, ISO 8601), level, logger, message, request, and its extras.

    >>> record = logging.LogRecord("pricing", logging.INFO, "", 0, "two\\nlines", None, None)
    >>> line = JsonLines().format(record)
    >>> json.loads(line)["message"], "\\n" in line
    ('two\\nlines', False)
    """

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": masked(record.getMessage()),
            "request": request_id(),
        }
        line |= {name: value for name, value in vars(record).items() if name not in _STANDARD}
        if record.exc_info:
            line["error"] = masked(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=True, default=str)


def log_settings(level: str) -> dict[str, Any]:
    """Settings for ``logging.config.dictConfig``: everything, the ASGI server's lines too, as JSON on
    standard error. The server's own line for each request is left out: the API writes one that says more."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": {"()": JsonLines}},
        "handlers": {"json": {"class": "logging.StreamHandler", "formatter": "json"}},
        "root": {"handlers": ["json"], "level": level.upper()},
        "loggers": {
            "uvicorn": {"level": level.upper()},
            "uvicorn.access": {"handlers": [], "propagate": False},
            "streamlit": {"level": "WARNING"},
        },
    }


_CURRENT: Final[ContextVar[str]] = ContextVar("request_id", default="none")
_GIVEN: Final = re.compile(r"[A-Za-z0-9._-]{8,64}")


def request_id() -> str:
    """The request's name, `none` outside of any."""
    return _CURRENT.get()


def begin(wanted: str | None) -> str:
    """Name the request: as the caller has named it, if that is a plain word, else anew.

    >>> begin("desk-7.2026-06-30") == request_id(), len(begin("<script>"))
    (True, 16)
    """
    name = wanted if wanted is not None and _GIVEN.fullmatch(wanted) else secrets.token_hex(8)
    _CURRENT.set(name)
    return name
