"""Second thoughts: a batch taken back, a record corrected or taken out; what was there before is kept."""

from collections.abc import Mapping
from datetime import date
from typing import Final

import polars as pl

from pricing.errors import MarketError
from pricing.intake.duplicates import with_keys
from pricing.intake.written.table import as_written
from pricing.money.prices import price_records
from pricing.nearest import did_you_mean
from pricing.records.cells import raw_text
from pricing.records.contract import COLUMNS, check
from pricing.store.audit import needed_reason, now, write_audit
from pricing.store.connection import Opened, add_row, add_rows, frame, run, value
from pricing.store.records.links import link_batch, refresh_primary_records
from pricing.store.records.terms import own_rates, stored_charges

WHOLE: Final = "record"
"""In the corrections, the column of a record that was taken out whole: its old value is all, as JSON."""

_FIXED: Final = ("record_id", "batch_id")


def undo(opened: Opened, batch_id: str) -> int:
    """See ``Market.undo``: records, quarantined rows and links of it go, rows it mended wait again."""
    rows = run(opened, "SELECT undone_at FROM batches WHERE batch_id = ?", [batch_id])
    if not rows:
        raise MarketError(f"the market has no batch {batch_id!r}")
    if rows[0][0] is not None:
        raise MarketError(f"{batch_id} was undone already, on {rows[0][0]:%Y-%m-%d %H:%M}")
    at = now()
    run(
        opened,
        "DELETE FROM links WHERE record_id IN (SELECT record_id FROM records WHERE batch_id = $batch) "
        "OR other_id IN (SELECT record_id FROM records WHERE batch_id = $batch)",
        {"batch": batch_id},
    )
    deleted = int(value(opened, "DELETE FROM records WHERE batch_id = ?", [batch_id]))
    run(opened, "DELETE FROM quarantine WHERE batch_id = ?", [batch_id])
    run(opened, "UPDATE quarantine SET settled_by = NULL WHERE settled_by = ?", [batch_id])
    run(opened, "DELETE FROM suspicions WHERE record_id NOT IN (SELECT record_id FROM records)")
    run(opened, "UPDATE batches SET undone_at = ? WHERE batch_id = ?", [at, batch_id])
    refresh_primary_records(opened)
    write_audit(opened, at, "undo", batch_id, {"records": deleted})
    return deleted


def correct(
    opened: Opened, record_id: str, values: Mapping[str, str | None], reason: str, base: str, today: date
) -> None:
    """See ``Market.correct``. The price is derived anew, and the record keeps its identity, so that its file
    loaded again brings nothing back."""
    names = [name for name in COLUMNS if name not in _FIXED]
    for column in values:
        if column not in names:
            near = did_you_mean(column, names)
            raise MarketError(
                f"a record has no column {column!r} that can be corrected{near}; it has: {', '.join(names)}"
            )
    reason = needed_reason(reason, "a correction")
    before = _record(opened, record_id)
    change = ", ".join(f"{column} = {value!r}" for column, value in values.items())
    if "event_date" in values:  # how much of the old day was known says nothing of the new one
        values = {"date_precision": None, **values}
    wanted = before.select(
        pl.lit(values[name], dtype=pl.String).alias(name) if name in values else name for name in COLUMNS
    )
    checked = check(wanted, today)
    if checked.accepted.is_empty():
        checked = check(as_written(wanted), today)
    broken = checked.rejected["broken_rules"].to_list()
    if broken:
        raise MarketError(f"{record_id}: {change} breaks {', '.join(broken[0])}")
    priced = price_records(with_keys(checked.accepted), base, stored_charges(opened), own_rates(opened))
    if priced["unpriced"].item() is not None:
        raise MarketError(f"{record_id}: {change} leaves no price: {priced['unpriced'].item()}")
    at = now()
    after = before.with_columns(priced[name] for name in priced.columns if name in before.columns)
    run(opened, "DELETE FROM records WHERE record_id = ?", [record_id])
    add_rows(opened, "records", after)
    for column in COLUMNS:
        old, new = _text(before, column), _text(after, column)
        if old != new:
            cells = {"column": column, "old": old, "new": new, "reason": reason}
            add_row(opened, "corrections", record_id=record_id, done_at=at, **cells)
            write_audit(opened, at, "correct", record_id, cells)
    links = "DELETE FROM links WHERE (record_id = $name OR other_id = $name) AND parted_at IS NULL"
    run(opened, links, {"name": record_id})
    link_batch(opened, after["batch_id"].item())
    refresh_primary_records(opened)


def remove(opened: Opened, record_id: str, reason: str) -> None:
    """See ``Market.remove``."""
    reason, record = needed_reason(reason, "taking a record out"), _record(opened, record_id)
    texts = record.select(raw_text(name, kind) for name, kind in record.schema.items())
    old = texts.select(pl.struct(pl.all()).struct.json_encode()).item()
    cells = {"column": WHOLE, "old": old, "reason": reason, "done_at": now()}
    add_row(opened, "corrections", record_id=record_id, **cells)
    run(opened, "DELETE FROM links WHERE record_id = $name OR other_id = $name", {"name": record_id})
    run(opened, "DELETE FROM records WHERE record_id = ?", [record_id])
    run(opened, "DELETE FROM suspicions WHERE record_id = ?", [record_id])
    refresh_primary_records(opened)
    write_audit(opened, cells["done_at"], "remove", record_id, {"reason": reason})


def _record(opened: Opened, record_id: str) -> pl.DataFrame:
    """A record with all its columns, one row."""
    record = frame(opened, "SELECT * FROM records WHERE record_id = ?", [record_id])
    if record.is_empty():
        raise MarketError(f"the market holds no record {record_id!r}")
    return record


def _text(record: pl.DataFrame, column: str) -> str | None:
    """A cell as a file would have it."""
    text = record.select(raw_text(column, record.schema[column])).item()
    return None if text is None else str(text)
