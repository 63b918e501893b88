"""Files into a market file: read, map, check, price, and store what is new in one transaction.

Everything but the last step happens before the market file is opened for writing, so that readers wait only
while finished rows are stored.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import duckdb
import polars as pl

from pricing.errors import TableError
from pricing.intake.duplicates import KEYS
from pricing.intake.layout import Layout
from pricing.intake.mapping import Mapping
from pricing.intake.mapping_files import mapping_beside, mapping_text, read_mapping
from pricing.intake.readers import read_file
from pricing.prices import PRICE_COLUMNS
from pricing.records import COLUMNS
from pricing.store_audit import now, write_audit
from pricing.store_connection import connection, frame, run
from pricing.store_links import link_batch
from pricing.store_staging import Staged, Terms, stage
from pricing.store_terms import charges_in_force, own_rates, store_charges, stored_charges

Progress = Callable[[str, int, int], None]
"""Called with a stage (``read``, ``store``), rows done and rows in all."""


@dataclass(frozen=True)
class FileReport:
    """What became of one file's rows."""

    file: str
    read: int
    accepted: int
    rejected: int
    known: int


@dataclass(frozen=True)
class LoadReport:
    """What became of every row of a load: ``read == accepted + rejected + known``."""

    read: int
    accepted: int
    rejected: int
    known: int
    """Rows that the market had already, as a record or in quarantine."""
    batch_id: str | None
    """``None`` when nothing changed."""
    by_rule: dict[str, int]
    """How many of the rejected rows broke each rule."""
    files: tuple[FileReport, ...]
    linked: int
    """Links found between records of one sale."""


def load_files(
    path: Path,
    files: Sequence[Path],
    mapping_file: Path | None,
    base_currency: str,
    today: date,
    progress: Progress | None,
    patience: float,
    keep: bool = True,
) -> LoadReport:
    """Load files into the market file at ``path``; see ``Market.load``."""
    given = None if mapping_file is None else read_mapping(mapping_file)
    with connection(path, patience=patience) as opened:
        older = stored_charges(opened)
        rates = own_rates(opened)
        waiting = frame(opened, "SELECT DISTINCT source FROM quarantine WHERE settled_by IS NULL")["source"]
    mappings: dict[str, Mapping] = {}
    staged: list[Staged] = []
    for file in files:
        mapping = mapping_beside(file) if given is None else given
        if mapping is not None:
            mappings[mapping.source] = mapping
        charges = charges_in_force(older, [charge for known in mappings.values() for charge in known.charges])
        terms = Terms(base_currency, today, charges, rates, waiting)
        for part in read_file(file, Layout() if mapping is None else mapping.layout):
            try:
                staged.append(stage(part.frame, file, mapping, terms))
            except TableError as error:
                raise TableError(f"{file}: {error}") from None
            if progress is not None:
                progress("read", part.rows_done, part.rows_expected)
    with connection(path, write=True, keep=keep, patience=patience) as opened:
        return _store(opened, files, staged, mappings.values(), progress)


def _store(
    opened: duckdb.DuckDBPyConnection,
    files: Sequence[Path],
    staged: list[Staged],
    mappings: Iterable[Mapping],
    progress: Progress | None,
) -> LoadReport:
    """Insert what is new, inside the transaction of ``opened``."""
    loaded_at = now()
    (earlier,) = run(opened, "SELECT count(*) FROM batches")[0]
    batch_id = f"batch-{earlier + 1:04d}"
    counts = {file.name: Counter[str]() for file in files}
    by_rule: Counter[str] = Counter()
    mended = 0
    total = sum(rows.height for rows in staged)
    done = 0
    for place, rows in enumerate(staged):
        count = counts[rows.file]
        count["read"] += rows.height
        count["accepted"] += _store_records(opened, rows.records, batch_id)
        new = _store_rejected(opened, rows.rejected, batch_id)
        mended += _settle(opened, rows, batch_id)
        count["rejected"] += new.height
        by_rule.update(new["broken_rules"].explode().to_list())
        done += rows.height
        staged[place] = Staged(rows.file, rows.height, rows.records.clear(), rows.rejected.clear())
        if progress is not None:
            progress("store", done, total)
    reports = tuple(
        FileReport(
            file,
            count["read"],
            count["accepted"],
            count["rejected"],
            count["read"] - count["accepted"] - count["rejected"],
        )
        for file, count in counts.items()
    )
    read, accepted, rejected, known = (
        sum(getattr(report, name) for report in reports) for name in ("read", "accepted", "rejected", "known")
    )
    linked = link_batch(opened, batch_id) if accepted else 0
    for mapping in mappings:
        store_charges(opened, mapping.charges)
        run(opened, "DELETE FROM mappings WHERE source = ?", [mapping.source])
        run(opened, "INSERT INTO mappings VALUES (?, ?)", [mapping.source, mapping_text(mapping)])
    changed = accepted + rejected + mended > 0
    if changed:
        names = [file.name for file in files]
        run(
            opened,
            "INSERT INTO batches VALUES (?, ?, ?, ?, ?, ?, ?, NULL)",
            [batch_id, loaded_at, names, read, accepted, rejected, known],
        )
        detail = {"files": names, "read": read, "accepted": accepted, "rejected": rejected, "known": known}
        write_audit(opened, loaded_at, "load", batch_id, detail | {"mended": mended, "linked": linked})
    return LoadReport(
        read,
        accepted,
        rejected,
        known,
        batch_id if changed else None,
        dict(by_rule.most_common()),
        reports,
        linked,
    )


def _store_records(opened: duckdb.DuckDBPyConnection, records: pl.DataFrame, batch_id: str) -> int:
    """Insert the records that the market does not hold yet; returns how many."""
    columns = ", ".join((*COLUMNS, *PRICE_COLUMNS, "file", "row_number", *KEYS, "details"))
    opened.register("staged", records)
    statement = (
        f"INSERT INTO records BY NAME SELECT * REPLACE (? AS batch_id) FROM (SELECT {columns} FROM staged) "  # noqa: S608
        "ANTI JOIN records USING (record_id)"
    )
    (inserted,) = run(opened, statement, [batch_id])[0]
    opened.unregister("staged")
    return int(inserted)


def _settle(opened: duckdb.DuckDBPyConnection, rows: Staged, batch_id: str) -> int:
    """Mark the quarantined rows that these bring in after all, or have taken the place of; returns how
    many."""
    replaced = rows.rejected.filter(pl.col("mends") != pl.col("quarantine_id"))
    mends = pl.concat(
        [rows.records.select("mends", "source"), replaced.select("mends", "source")]
    ).drop_nulls()
    if mends.is_empty():
        return 0
    opened.register("staged", mends)
    (settled,) = run(
        opened,
        "UPDATE quarantine SET settled_by = ? FROM staged WHERE quarantine.quarantine_id = staged.mends "
        "AND quarantine.source = staged.source AND settled_by IS NULL",
        [batch_id],
    )[0]
    opened.unregister("staged")
    return int(settled)


def _store_rejected(opened: duckdb.DuckDBPyConnection, rejected: pl.DataFrame, batch_id: str) -> pl.DataFrame:
    """Put the rejected rows that are not there yet into quarantine; returns them."""
    if rejected.is_empty():
        return rejected
    opened.register("staged", rejected.unique("quarantine_id", keep="first", maintain_order=True))
    new = frame(opened, "SELECT * FROM staged ANTI JOIN quarantine USING (quarantine_id)")
    opened.unregister("staged")
    opened.register("staged", new)
    run(
        opened,
        "INSERT INTO quarantine SELECT quarantine_id, ?, source, file, row_number, raw, broken_rules, "
        "NULL FROM staged",
        [batch_id],
    )
    opened.unregister("staged")
    return new
