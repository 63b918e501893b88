"""A record taken out for good: what it was is kept with the corrections, and no load brings it back."""

from typing import Final

import duckdb
import polars as pl

from pricing.clean_text import clean_lines
from pricing.errors import MarketError
from pricing.records.cells import raw_text
from pricing.store.audit import now, write_audit
from pricing.store.connection import add_row, frame, run
from pricing.store.records.links import refresh_primary_records

WHOLE: Final = "record"
"""In the corrections, the column of a record that was taken out whole: its old value is all of it, as
JSON."""


def remove(opened: duckdb.DuckDBPyConnection, record_id: str, reason: str) -> None:
    """Take a record out and keep what it was.

    Raises ``MarketError`` when there is no such record, or no reason.
    """
    reason = clean_lines(reason)
    if not reason:
        raise MarketError("taking a record out needs a reason")
    held = frame(opened, "SELECT * FROM records WHERE record_id = ?", [record_id])
    if held.is_empty():
        raise MarketError(f"the market holds no record {record_id!r}")
    texts = held.select(raw_text(name, kind) for name, kind in held.schema.items())
    was = texts.select(pl.struct(pl.all()).struct.json_encode()).item()
    at = now()
    add_row(
        opened, "corrections", record_id=record_id, column=WHOLE, old=was, reason=reason, done_at=at
    )  # fmt: skip
    run(opened, "DELETE FROM links WHERE record_id = $name OR other_id = $name", {"name": record_id})
    run(opened, "DELETE FROM records WHERE record_id = ?", [record_id])
    run(opened, "DELETE FROM suspicions WHERE record_id = ?", [record_id])
    refresh_primary_records(opened)
    write_audit(opened, at, "remove", record_id, {"reason": reason})
