"""Choices about comparable sales, kept in the market file with their reasons: written down, never erased."""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import duckdb
import polars as pl

from pricing.store.audit import now, write_audit
from pricing.store.connection import PATIENCE_SECONDS, connection, frame, run

_TABLE = """
CREATE TABLE IF NOT EXISTS evidence_choices (
    subject VARCHAR, record_id VARCHAR, action VARCHAR, line VARCHAR, per_cent DOUBLE, reason VARCHAR,
    made_at TIMESTAMP
)
"""

Row = tuple[str, str, str | None, float | None, str]
"""record_id, action, line, per_cent, reason."""


def keep_choices(
    path: Path, subject: str, choices: Sequence[Row], *, patience: float = PATIENCE_SECONDS
) -> None:
    """Add choices about the comparables of a subject, under the name that it was given. The order of their
    times is that in which they were made, whatever the clock says."""
    with connection(path, write=True, patience=patience) as opened:
        run(opened, _TABLE)
        ((last,),) = run(opened, "SELECT max(made_at) FROM evidence_choices WHERE subject = ?", [subject])
        at = now() if last is None else max(now(), last + timedelta(microseconds=1))
        for record_id, action, line, per_cent, reason in choices:
            run(
                opened,
                "INSERT INTO evidence_choices VALUES (?, ?, ?, ?, ?, ?, ?)",
                [subject, record_id, action, line, per_cent, reason, at],
            )
            write_audit(opened, at, f"evidence {action}", record_id, {"subject": subject, "reason": reason})


def read_choices(path: Path, subject: str, *, patience: float = PATIENCE_SECONDS) -> pl.DataFrame:
    """Every choice about a subject, oldest first."""
    with connection(path, patience=patience) as opened:
        try:
            return frame(
                opened,
                "SELECT record_id, action, line, per_cent, reason, made_at FROM evidence_choices "
                "WHERE subject = ? ORDER BY made_at, rowid",
                [subject],
            )
        except duckdb.CatalogException:
            return pl.DataFrame(
                schema={
                    "record_id": pl.String, "action": pl.String, "line": pl.String, "per_cent": pl.Float64,
                    "reason": pl.String, "made_at": pl.Datetime("us"),
                }
            )  # fmt: skip
