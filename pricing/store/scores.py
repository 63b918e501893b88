"""The last scores of the price model, kept in the market file with the fit then in force and the records
they are of."""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import duckdb

from pricing.store.audit import now, write_audit
from pricing.store.connection import PATIENCE_SECONDS, connection, run

_TABLE = """
CREATE TABLE IF NOT EXISTS scores (
    fit_id VARCHAR, records VARCHAR, scored_at TIMESTAMP, facts VARCHAR, payload BLOB
)
"""

Row = tuple[str, str, datetime, dict[str, Any], bytes]
"""fit_id, records (``StoredState.records``), scored_at (UTC), facts, payload."""


def keep_scores(
    path: Path,
    fit_id: str,
    records: str,
    facts: Mapping[str, Any],
    payload: bytes,
    *,
    patience: float = PATIENCE_SECONDS,
) -> None:
    """Keep scores, as bytes and facts about them, in place of those before."""
    at = now()
    with connection(path, write=True, patience=patience) as opened:
        run(opened, _TABLE)
        run(opened, "DELETE FROM scores")
        run(
            opened,
            "INSERT INTO scores VALUES (?, ?, ?, ?, ?)",
            [fit_id, records, at, json.dumps(facts), payload],
        )
        write_audit(opened, at, "score", fit_id, {"bytes": len(payload)})


def read_scores(path: Path, *, patience: float = PATIENCE_SECONDS) -> Row | None:
    """The scores kept last; nothing where there are none."""
    with connection(path, patience=patience) as opened:
        try:
            rows = run(opened, "SELECT fit_id, records, scored_at, facts, payload FROM scores")
        except duckdb.CatalogException:
            return None
    if not rows:
        return None
    fit_id, records, scored_at, facts, payload = rows[0]
    return fit_id, records, scored_at, json.loads(facts), bytes(payload)
