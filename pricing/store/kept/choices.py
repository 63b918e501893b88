"""Choices about comparable sales, kept in the market file with their reasons: written down, never erased."""

from collections.abc import Sequence
from datetime import timedelta

import polars as pl

from pricing.store.audit import now, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import add_row, value

Row = tuple[str, str, str | None, float | None, str]
"""record_id, action, line, per_cent, reason."""


class Choices(Connected):
    """Choices about comparable sales: ``Market.choices``."""

    def keep(self, subject: str, choices: Sequence[Row]) -> None:
        """Add choices about the comparables of a subject, under the name that it was given. The order of
        their times is that in which they were made, whatever the clock says."""
        with self._connect(write=True) as opened:
            last = value(opened, "SELECT max(made_at) FROM evidence_choices WHERE subject = ?", [subject])
            first = now() if last is None else max(now(), last + timedelta(microseconds=1))
            for nth, (record_id, action, line, per_cent, reason) in enumerate(choices):
                at = first + timedelta(microseconds=nth)
                add_row(
                    opened, "evidence_choices", subject=subject, record_id=record_id, action=action,
                    line=line, per_cent=per_cent, reason=reason, made_at=at,
                )  # fmt: skip
                detail = {"subject": subject, "reason": reason}
                write_audit(opened, at, f"evidence {action}", record_id, detail)

    def about(self, subject: str) -> pl.DataFrame:
        """Every choice about a subject, oldest first."""
        return self._frame(
            "SELECT record_id, action, line, per_cent, reason, made_at FROM evidence_choices "
            "WHERE subject = ? ORDER BY made_at",
            [subject],
        )
