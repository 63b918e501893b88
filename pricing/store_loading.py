"""Files into a market file: read, map, check, price, and store what is new in one transaction.

Everything but the last step happens before the market file is opened for writing, so that readers wait only
while finished rows are stored.
"""

import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Final

import duckdb
import polars as pl

from pricing.charges import Charge
from pricing.errors import TableError
from pricing.intake.mapping import Mapping, mapping_beside, read_mapping
from pricing.intake.readers import EXTRA_CELLS, Layout, read_file
from pricing.prices import PRICE_COLUMNS, price_records
from pricing.records import COLUMNS, check
from pricing.store_connection import connection, frame, run
from pricing.store_terms import charges_in_force, own_rates, store_charges, stored_charges

Progress = Callable[[str, int, int], None]
"""Called with a stage (``read``, ``store``), rows done and rows in all."""

_CONTENT: Final = tuple(name for name in COLUMNS if name not in ("record_id", "batch_id"))
_PLACEHOLDER: Final = "-"


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


@dataclass(frozen=True)
class _Staged:
    """Some rows of one file, ready to store."""

    file: str
    height: int
    records: pl.DataFrame
    """Priced records with their place, and ``mends``: the quarantined row of which this is the mended
    form."""
    rejected: pl.DataFrame
    """quarantine_id, source, file, row_number, raw, broken_rules."""


def load_files(
    path: Path,
    files: Sequence[Path],
    mapping_file: Path | None,
    base_currency: str,
    today: date,
    progress: Progress | None,
    patience: float,
) -> LoadReport:
    """Load files into the market file at ``path``; see ``Market.load``."""
    given = None if mapping_file is None else read_mapping(mapping_file)
    with connection(path, patience=patience) as opened:
        older = stored_charges(opened)
        rates = own_rates(opened)
        waiting = frame(opened, "SELECT DISTINCT source FROM quarantine WHERE settled_by IS NULL")["source"]
    new_charges: list[Charge] = []
    staged: list[_Staged] = []
    for file in files:
        mapping = mapping_beside(file) if given is None else given
        if mapping is not None:
            new_charges += mapping.charges
        stage = _Stage(base_currency, today, charges_in_force(older, new_charges), rates, waiting)
        for part in read_file(file, Layout() if mapping is None else mapping.layout):
            try:
                staged.append(stage.rows(part.frame, file, mapping))
            except TableError as error:
                raise TableError(f"{file}: {error}") from None
            if progress is not None:
                progress("read", part.rows_done, part.rows_expected)
    with connection(path, write=True, patience=patience) as opened:
        return _store(opened, files, staged, new_charges, progress)


@dataclass(frozen=True)
class _Stage:
    """What rows are checked and priced against."""

    base_currency: str
    today: date
    charges: Sequence[Charge]
    own_rates: pl.DataFrame
    waiting: pl.Series
    """Sources that have rows in quarantine."""

    def rows(self, raw: pl.DataFrame, file: Path, mapping: Mapping | None) -> _Staged:
        """Map, check and price some rows of a file."""
        mapped = raw.drop("row_number") if mapping is None else mapping.apply(raw)
        mapped = mapped.with_columns(
            _filled(mapped, "source", file.name.split(".")[0]),
            _filled(mapped, "source_ref", _PLACEHOLDER),
            pl.lit(_PLACEHOLDER).alias("record_id"),
            pl.lit(_PLACEHOLDER).alias("batch_id"),
            pl.int_range(pl.len(), dtype=pl.UInt32).alias("place"),
        )
        checked = check(mapped, self.today)
        broken = checked.rejected.select("place", "broken_rules")
        places = mapped.select("place").join(broken, on="place", how="anti", maintain_order="left")["place"]
        priced = price_records(checked.accepted, self.base_currency, self.charges, self.own_rates)
        priced = priced.with_columns(
            places, pl.lit(file.name).alias("file"), raw["row_number"].gather(places)
        )
        if EXTRA_CELLS in raw.columns:
            extra = raw[EXTRA_CELLS].is_not_null().gather(places)
            priced = priced.with_columns(
                unpriced=pl.when(extra).then(pl.lit("cells_beyond_header")).otherwise("unpriced")
            )
        unpriced = priced.filter(pl.col("unpriced").is_not_null())
        broken = pl.concat([broken, unpriced.select("place", broken_rules=pl.concat_list("unpriced"))]).sort(
            "place"
        )
        records = priced.filter(pl.col("unpriced").is_null())
        mends = pl.Series([], dtype=pl.String).extend_constant(None, records.height)
        if self.waiting.is_in(mapped["source"].unique().implode()).any():
            mends = _fingerprints(raw, mapped, records["place"])["quarantine_id"]
        rejected = _fingerprints(raw, mapped, broken["place"]).with_columns(
            broken["broken_rules"], raw["row_number"].gather(broken["place"]), pl.lit(file.name).alias("file")
        )
        return _Staged(
            file.name, raw.height, _identified(records.with_columns(mends.alias("mends"))), rejected
        )


def _filled(frame: pl.DataFrame, name: str, default: str) -> pl.Expr:
    """A text column with its blanks filled in."""
    if name not in frame.columns:
        return pl.lit(default).alias(name)
    text = pl.col(name).cast(pl.String).str.strip_chars()
    return pl.when(text != "").then(text).otherwise(pl.lit(default)).alias(name)


def _fingerprints(raw: pl.DataFrame, mapped: pl.DataFrame, places: pl.Series) -> pl.DataFrame:
    """Raw rows as JSON objects of text, with an identity made of source and content."""
    cells = raw.drop("row_number").select(
        pl.col(name).list.eval(pl.element().cast(pl.String)).list.join(";")
        if isinstance(kind, pl.List)
        else pl.col(name).cast(pl.String, strict=False)
        for name, kind in raw.drop("row_number").schema.items()
    )
    rows = (
        cells[places]
        .select(raw=pl.struct(pl.all()).struct.json_encode())
        .with_columns(mapped["source"].gather(places))
    )
    with duckdb.connect() as memory:
        memory.register("cells", rows)
        return frame(
            memory,
            "SELECT left(sha256(source || chr(31) || raw), 32) AS quarantine_id, source, raw FROM cells",
        )


def _identified(records: pl.DataFrame) -> pl.DataFrame:
    """Records with their identity: the same content from the same source is the same record."""
    content = ", ".join(f"coalesce({name}::VARCHAR, chr(30))" for name in _CONTENT)
    with duckdb.connect() as memory:
        memory.register("staged", records)
        # Only names of this file go into the text of a statement; what files say is bound or registered.
        query = f"SELECT left(sha256(concat_ws(chr(31), {content})), 32) AS record_id FROM staged"  # noqa: S608
        names = frame(memory, query)["record_id"]
    reference = (
        pl.when(pl.col("source_ref") == _PLACEHOLDER)
        .then("row " + names.str.slice(0, 12))
        .otherwise("source_ref")
    )
    return records.with_columns(names, source_ref=reference).unique(
        "record_id", keep="first", maintain_order=True
    )


def _store(
    opened: duckdb.DuckDBPyConnection,
    files: Sequence[Path],
    staged: list[_Staged],
    new_charges: Sequence[Charge],
    progress: Progress | None,
) -> LoadReport:
    """Insert what is new, inside the transaction of ``opened``."""
    loaded_at = datetime.now(UTC).replace(tzinfo=None)
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
        mended += _settle(opened, rows.records, batch_id)
        new = _store_rejected(opened, rows.rejected, batch_id)
        count["rejected"] += new.height
        by_rule.update(new["broken_rules"].explode().to_list())
        done += rows.height
        staged[place] = _Staged(rows.file, rows.height, rows.records.clear(), rows.rejected.clear())
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
    store_charges(opened, new_charges)
    changed = accepted + rejected + mended > 0
    if changed:
        names = [file.name for file in files]
        run(
            opened,
            "INSERT INTO batches VALUES (?, ?, ?, ?, ?, ?, ?, NULL)",
            [batch_id, loaded_at, names, read, accepted, rejected, known],
        )
        detail = {"files": names, "read": read, "accepted": accepted, "rejected": rejected, "known": known}
        run(
            opened,
            "INSERT INTO audit VALUES (?, 'load', ?, ?)",
            [loaded_at, batch_id, json.dumps(detail | {"mended": mended})],
        )
    return LoadReport(
        read, accepted, rejected, known, batch_id if changed else None, dict(by_rule.most_common()), reports
    )


def _store_records(opened: duckdb.DuckDBPyConnection, records: pl.DataFrame, batch_id: str) -> int:
    """Insert the records that the market does not hold yet; returns how many."""
    columns = ", ".join((*COLUMNS, *PRICE_COLUMNS, "file", "row_number"))
    opened.register("staged", records)
    statement = (
        f"INSERT INTO records BY NAME SELECT * REPLACE (? AS batch_id) FROM (SELECT {columns} FROM staged) "  # noqa: S608
        "ANTI JOIN records USING (record_id)"
    )
    (inserted,) = run(opened, statement, [batch_id])[0]
    opened.unregister("staged")
    return int(inserted)


def _settle(opened: duckdb.DuckDBPyConnection, records: pl.DataFrame, batch_id: str) -> int:
    """Mark the quarantined rows that these records bring in after all; returns how many."""
    mends = records.select(quarantine_id="mends").drop_nulls()
    if mends.is_empty():
        return 0
    opened.register("staged", mends)
    (settled,) = run(
        opened,
        "UPDATE quarantine SET settled_by = ? FROM staged "
        "WHERE quarantine.quarantine_id = staged.quarantine_id AND settled_by IS NULL",
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
