"""The audit trail: what was done to a market file, when, to what."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import duckdb

from pricing.store.connection import add_row


def now() -> datetime:
    """The time as the market file keeps it: UTC."""
    return datetime.now(UTC).replace(tzinfo=None)


def write_audit(
    opened: duckdb.DuckDBPyConnection, at: datetime, action: str, subject: str, detail: Mapping[str, Any]
) -> None:
    """Add a line to the trail; ``detail`` is kept as JSON."""
    text = json.dumps(detail, default=str)
    add_row(opened, "audit", done_at=at, action=action, subject=subject, detail=text)
