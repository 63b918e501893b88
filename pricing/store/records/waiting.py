"""What waits for a person: rows in quarantine, until they are mended, and records that are plausible but odd.

Quarantine goes out to files, each source to one of its own, in the columns it came in, with ``quarantine_id``
and the broken rules in front and the source's mapping beside it. Loaded again, a mended row settles the row
in quarantine it stands for.
"""

import json
from pathlib import Path

import polars as pl

from pricing.clean_text import clean_lines
from pricing.errors import FileError, MarketError
from pricing.intake.exports import neutral_names, neutralised
from pricing.store.audit import now, write_audit
from pricing.store.connection import Opened, frame, value
from pricing.store.records.staging import EXPORT_FRONT


def quarantine(opened: Opened) -> pl.DataFrame:
    """See ``Market.quarantine``."""
    return frame(
        opened,
        "SELECT quarantine_id, batch_id, source, file, row_number, broken_rules, raw FROM quarantine "
        "WHERE settled_by IS NULL ORDER BY file, row_number, quarantine_id",
    )


def export_quarantine(opened: Opened, folder: Path) -> list[Path]:
    """Write the waiting rows into a folder, which must be empty or absent; returns the files of rows."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise FileError(f"{folder} is not empty; quarantine goes to a folder of its own")
    except OSError as error:
        raise FileError(f"{folder} cannot be written to: {error.strerror}") from None
    rows_waiting = quarantine(opened).sort("source", maintain_order=True)
    written = []
    for place, rows in enumerate(rows_waiting.partition_by("source", maintain_order=True), 1):
        source = rows["source"][0]
        cells = pl.DataFrame([json.loads(raw) for raw in rows["raw"]], infer_schema_length=None)
        front = rows.select(EXPORT_FRONT).with_columns(pl.col("broken_rules").list.join(", "))
        apart = [name for name in front.columns if name not in cells.columns]
        path = folder / f"{place:02d}-{_file_name(source)}.csv"
        table = pl.concat([front.select(apart), cells], how="horizontal")
        neutral_names(table.with_columns(neutralised(pl.col(pl.String)))).write_csv(path)
        mapping = value(opened, "SELECT mapping FROM mappings WHERE source = ?", [source])
        if mapping is not None:
            path.with_name(path.name + ".mapping.toml").write_text(mapping, encoding="utf-8")
        written.append(path)
    return written


def _file_name(source: str) -> str:
    """A source's name as a file's: letters and figures only."""
    plain = "".join(letter if letter.isalnum() else "-" for letter in source.lower())
    return plain[:60].strip("-") or "source"


def mark_suspicions(opened: Opened, odd: pl.DataFrame) -> int:
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


def suspicions(opened: Opened) -> pl.DataFrame:
    """Suspicions without a verdict, with the car and the offer."""
    return frame(
        opened,
        "SELECT record_id, reason, detail, make, model, variant, year, chassis_number, odometer_km, outcome, "
        "event_date, price, source, source_ref FROM suspicions JOIN records USING (record_id) "
        "WHERE verdict IS NULL ORDER BY reason, event_date, record_id",
    )


def settle_suspicion(opened: Opened, record_id: str, verdict: str) -> int:
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
