"""Second thoughts: a batch taken back, a record corrected; what was there before is kept."""

from collections.abc import Mapping
from datetime import date

import duckdb
import polars as pl

from pricing.clean_text import clean_lines
from pricing.errors import MarketError
from pricing.intake.duplicates import with_keys
from pricing.intake.written.table import as_written
from pricing.money.prices import price_records
from pricing.nearest import did_you_mean
from pricing.records.contract import COLUMNS, check
from pricing.store.audit import now, write_audit
from pricing.store.connection import add_row, frame, run
from pricing.store.records.links import link_batch, refresh_primary_records
from pricing.store.records.terms import own_rates, stored_charges

_FIXED = ("record_id", "batch_id")


def undo(opened: duckdb.DuckDBPyConnection, batch_id: str) -> int:
    """Take a batch back: its records, quarantined rows and links go, rows it mended wait again.

    Returns how many records went. The batch itself stays listed.
    """
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
    (gone,) = run(opened, "DELETE FROM records WHERE batch_id = ?", [batch_id])[0]
    run(opened, "DELETE FROM quarantine WHERE batch_id = ?", [batch_id])
    run(opened, "UPDATE quarantine SET settled_by = NULL WHERE settled_by = ?", [batch_id])
    run(opened, "DELETE FROM suspicions WHERE record_id NOT IN (SELECT record_id FROM records)")
    run(opened, "UPDATE batches SET undone_at = ? WHERE batch_id = ?", [at, batch_id])
    refresh_primary_records(opened)
    write_audit(opened, at, "undo", batch_id, {"records": int(gone)})
    return int(gone)


def correct(
    opened: duckdb.DuckDBPyConnection,
    record_id: str,
    values: Mapping[str, str | None],
    reason: str,
    base: str,
    today: date,
) -> None:
    """Give cells of a record other values, keep the old ones, and derive its price anew.

    ``values`` are by column, as people write them; ``None`` empties a cell. The record keeps its identity,
    so that
    its file loaded again brings nothing back. Raises ``MarketError`` when the record would break a rule.
    """
    for column in values:
        if column not in COLUMNS or column in _FIXED:
            names = [name for name in COLUMNS if name not in _FIXED]
            near = did_you_mean(column, names)
            raise MarketError(
                f"a record has no column {column!r} that can be corrected{near}; it has: {', '.join(names)}"
            )
    reason = clean_lines(reason)
    if not reason:
        raise MarketError("a correction needs a reason")
    held = frame(opened, "SELECT * FROM records WHERE record_id = ?", [record_id])
    if held.is_empty():
        raise MarketError(f"the market holds no record {record_id!r}")
    change = ", ".join(f"{column} = {value!r}" for column, value in values.items())
    if "event_date" in values:  # how much of the old day was known says nothing of the new one
        values = {"date_precision": None, **values}
    wanted = held.select(
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
    changed = held.with_columns(priced[name] for name in priced.columns if name in held.columns)
    opened.register("changed", changed)
    run(opened, "DELETE FROM records WHERE record_id = ?", [record_id])
    run(opened, "INSERT INTO records BY NAME SELECT * FROM changed")
    opened.unregister("changed")
    for column in COLUMNS:
        old, new = _text(held, column), _text(changed, column)
        if old == new:
            continue
        add_row(
            opened, "corrections",
            record_id=record_id, column=column, old=old, new=new, reason=reason, done_at=at,
        )  # fmt: skip
        detail = {"column": column, "old": old, "new": new, "reason": reason}
        write_audit(opened, at, "correct", record_id, detail)
    run(
        opened,
        "DELETE FROM links WHERE (record_id = $name OR other_id = $name) AND parted_at IS NULL",
        {"name": record_id},
    )
    link_batch(opened, changed["batch_id"].item())
    refresh_primary_records(opened)


def _text(record: pl.DataFrame, column: str) -> str | None:
    """A cell as a file would have it."""
    cell = pl.col(column).list.join(";") if column == "options" else pl.col(column).cast(pl.String)
    text = record.select(cell).item()
    return None if text is None else str(text)
