"""The last scores of the price model, kept in the market file with the fit then in force and the records
they are of."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pricing.store.audit import now, write_audit
from pricing.store.connection import Connect, add_row, run

Row = tuple[str, str, datetime, dict[str, Any], bytes]
"""fit_id, records (``StoredState.records``), scored_at (UTC), facts, payload."""


class Scores:
    """The last scores of the price model: ``Market.scores``."""

    def __init__(self, connect: Connect) -> None:
        self._connect = connect

    def keep(self, fit_id: str, records: str, facts: Mapping[str, Any], payload: bytes) -> None:
        """Keep scores, as bytes and facts about them, in place of those before."""
        at = now()
        with self._connect(write=True) as opened:
            run(opened, "DELETE FROM scores")
            add_row(
                opened, "scores",
                fit_id=fit_id, records=records, scored_at=at, facts=json.dumps(facts), payload=payload,
            )  # fmt: skip
            write_audit(opened, at, "score", fit_id, {"bytes": len(payload)})

    def last(self) -> Row | None:
        """The scores kept last; nothing where there are none."""
        with self._connect() as opened:
            rows = run(opened, "SELECT fit_id, records, scored_at, facts, payload FROM scores")
        if not rows:
            return None
        fit_id, records, scored_at, facts, payload = rows[0]
        return fit_id, records, scored_at, json.loads(facts), bytes(payload)
