"""Quarantine out to files that a person mends, and the way back in.

Each source goes to a file of its own, in the columns it came in, with ``quarantine_id`` and the broken rules
in front and the source's mapping beside it. Loaded again, a mended row settles the row in quarantine it
stands for.
"""

import json
from pathlib import Path

import duckdb
import polars as pl

from pricing.errors import FileError
from pricing.intake.exports import neutral_names, neutralised
from pricing.store.connection import frame, value
from pricing.store.records.staging import EXPORT_FRONT


def export_quarantine(opened: duckdb.DuckDBPyConnection, folder: Path) -> list[Path]:
    """Write the waiting rows into a folder, which must be empty or absent; returns the files of rows."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise FileError(f"{folder} is not empty; quarantine goes to a folder of its own")
    except OSError as error:
        raise FileError(f"{folder} cannot be written to: {error.strerror}") from None
    waiting = frame(
        opened,
        "SELECT quarantine_id, source, file, row_number, broken_rules, raw FROM quarantine "
        "WHERE settled_by IS NULL ORDER BY source, file, row_number, quarantine_id",
    )
    written = []
    for place, rows in enumerate(waiting.partition_by("source", maintain_order=True), 1):
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
