"""The audit trail: what was done to a market file, when, to what."""

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

from pricing.clean_text import clean_lines
from pricing.errors import MarketError
from pricing.store.connection import Opened, add_row, add_rows


def now() -> datetime:
    """The time as the market file keeps it: UTC."""
    return datetime.now(UTC).replace(tzinfo=None)


def today_or(day: date | None) -> date:
    """The day that is given, or else today, UTC."""
    return datetime.now(UTC).date() if day is None else day


def needed_reason(reason: str, act: str) -> str:
    """The reason of an act, cleaned. Raises ``MarketError`` where there is none."""
    reason = clean_lines(reason)
    if not reason:
        raise MarketError(f"{act} needs a reason")
    return reason


def write_audit(opened: Opened, at: datetime, action: str, subject: str, detail: Mapping[str, Any]) -> None:
    """Add a line to the trail; ``detail`` is kept as JSON."""
    text = json.dumps(detail, default=str)
    add_row(opened, "audit", done_at=at, action=action, subject=subject, detail=text)


def write_audits(
    opened: Opened, at: datetime, action: str, lines: Iterable[tuple[str, Mapping[str, Any]]]
) -> None:
    """Add a line to the trail for each of many subjects, with its detail."""
    rows = [
        {"done_at": at, "action": action, "subject": subject, "detail": json.dumps(detail, default=str)}
        for subject, detail in lines
    ]
    add_rows(opened, "audit", rows)
