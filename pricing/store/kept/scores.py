"""The last scores of the price model, kept in the market file with the fit and the records they are of."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pricing.store.audit import now, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import add_row, run

Row = tuple[str, str, datetime, dict[str, Any], bytes]
"""fit_id, records (``StoredState.records``), scored_at (UTC), facts, payload."""


class StoredScores(Connected):
    """The last scores of the price model: ``Market.scores``."""

    def keep(self, fit_id: str, records: str, facts: Mapping[str, Any], payload: bytes) -> None:
        """Keep scores, as bytes and facts about them, in place of those before."""
        at, text = now(), json.dumps(facts)
        with self._connect(write=True) as opened:
            run(opened, "DELETE FROM scores")
            add_row(
                opened, "scores", fit_id=fit_id, records=records, scored_at=at, facts=text, payload=payload
            )
            write_audit(opened, at, "score", fit_id, {"bytes": len(payload)})

    def last(self) -> Row | None:
        """The scores kept last; nothing where there are none."""
        rows = self._rows("SELECT fit_id, records, scored_at, facts, payload FROM scores")
        if not rows:
            return None
        fit_id, records, scored_at, facts, payload = rows[0]
        return fit_id, records, scored_at, json.loads(facts), bytes(payload)
