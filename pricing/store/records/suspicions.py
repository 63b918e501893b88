"""Records that are plausible but odd: kept, and listed until a person has looked at them."""

import duckdb
import polars as pl

from pricing.clean_text import clean_lines
from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connection import frame, value


def mark(opened: duckdb.DuckDBPyConnection, odd: pl.DataFrame) -> int:
    """Add suspicions (record_id, reason, detail) that are not known yet, settled ones among the known."""
    added = value(
        opened,
        "INSERT INTO suspicions (record_id, reason, detail, found_at) "
        "SELECT DISTINCT ON (record_id, reason) record_id, reason, detail, ? FROM odd "
        "SEMI JOIN records USING (record_id) ANTI JOIN suspicions USING (record_id, reason)",
        [now()],
        odd=odd.select("record_id", "reason", "detail"),
    )
    return int(added)


def waiting(opened: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Suspicions without a verdict, with the car and the offer."""
    return frame(
        opened,
        "SELECT record_id, reason, detail, make, model, variant, year, chassis_number, odometer_km, outcome, "
        "event_date, price, source, source_ref FROM suspicions JOIN records USING (record_id) "
        "WHERE verdict IS NULL ORDER BY reason, event_date, record_id",
    )


def settle(opened: duckdb.DuckDBPyConnection, record_id: str, verdict: str) -> int:
    """Write a verdict on the waiting suspicions of a record."""
    verdict = clean_lines(verdict)
    if not verdict:
        raise MarketError("a suspicion is settled with a few words on what was found out")
    at = now()
    written = "UPDATE suspicions SET verdict = ?, settled_at = ? WHERE record_id = ? AND verdict IS NULL"
    settled = value(opened, written, [verdict, at, record_id])
    if not settled:
        raise MarketError(f"no suspicion about record {record_id!r} waits for a verdict")
    write_audit(opened, at, "verdict", record_id, {"verdict": verdict})
    return int(settled)
