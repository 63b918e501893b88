"""The last scores of the price model, kept in the market file with the fit then in force and the records
they are of."""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from pricing.store.audit import now, write_audit
from pricing.store.connection import TIMEOUT_SECONDS, add_row, connection, run

Row = tuple[str, str, datetime, dict[str, Any], bytes]
"""fit_id, records (``StoredState.records``), scored_at (UTC), facts, payload."""


def keep_scores(
    path: Path,
    fit_id: str,
    records: str,
    facts: Mapping[str, Any],
    payload: bytes,
    *,
    timeout: float = TIMEOUT_SECONDS,
) -> None:
    """Keep scores, as bytes and facts about them, in place of those before."""
    at = now()
    with connection(path, write=True, timeout=timeout) as opened:
        run(opened, "DELETE FROM scores")
        add_row(
            opened, "scores",
            fit_id=fit_id, records=records, scored_at=at, facts=json.dumps(facts), payload=payload,
        )  # fmt: skip
        write_audit(opened, at, "score", fit_id, {"bytes": len(payload)})


def read_scores(path: Path, *, timeout: float = TIMEOUT_SECONDS) -> Row | None:
    """The scores kept last; nothing where there are none."""
    with connection(path, timeout=timeout) as opened:
        rows = run(opened, "SELECT fit_id, records, scored_at, facts, payload FROM scores")
    if not rows:
        return None
    fit_id, records, scored_at, facts, payload = rows[0]
    return fit_id, records, scored_at, json.loads(facts), bytes(payload)
