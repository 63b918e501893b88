"""Files into a market file: read, map, check, price, and store what is new in one transaction.

Everything but the last step happens before the market file is opened for writing, so that readers wait only
while finished rows are stored.
"""

import shlex
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.errors import DoubtError, TableError
from pricing.intake.duplicates import KEYS
from pricing.intake.listings import is_page
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import mapping_beside, read_mapping, recognised
from pricing.intake.plausibility import MARKET, doubts
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.readers import Part, read_file
from pricing.intake.written.cars import CarNames
from pricing.money.prices import PRICE_COLUMNS
from pricing.progress import Progress
from pricing.records.contract import COLUMNS, REQUIRED
from pricing.store.audit import now, write_audit
from pricing.store.connection import Connect, Opened, add_row, add_rows, frame, next_name, run, value
from pricing.store.kept.answers import IdempotencyKey, keep_result
from pricing.store.records import terms
from pricing.store.records.history import WHOLE
from pricing.store.records.links import doubles_of, link_batch, nearly_same
from pricing.store.records.names import known_cars, list_names
from pricing.store.records.staging import PricingTerms, Staged, stage
from pricing.store.schema import TABLES, create_missing_keys, missing_keys

ROWS_A_STATEMENT: Final = 1_000_000
PARTS_AT_ONCE: Final = 2
ASKED: Final = tuple(
    name for name in REQUIRED if name not in ("record_id", "batch_id", "source", "source_ref")
)
"""Columns that a file has that is written in our own."""

REFUSED_TOLD: Final = 200
DOUBLES_TOLD: Final = 20

DOUBTED_ROWS: Final = 20_000
"""Rows of a load that are held against the market."""


@dataclass(frozen=True)
class FileReport:
    """What became of one file's rows."""

    file: str
    read: int
    accepted: int
    rejected: int
    known: int


@dataclass(frozen=True)
class RefusedRow:
    """A row that a load would put into quarantine."""

    file: str
    row_number: int
    rules: tuple[str, ...]
    """The rules it breaks."""
    cells: str
    """The row as it stands in the file, as JSON."""


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
    not_known: dict[str, int] = field(default_factory=dict)
    """Cells of accepted rows that could not be read and went to the notes, by column."""
    said_otherwise: dict[str, int] = field(default_factory=dict)
    """What cells said in place of what was stated for them, such as ``currency SEK``, and how many."""
    unseen: dict[str, int] = field(default_factory=dict)
    """Cells of rows out of which characters were left that show nothing, by column."""
    waiting: int = 0
    """Rows of ``known`` that wait in quarantine already."""
    recognised: dict[str, str] = field(default_factory=dict)
    """Files read by the mapping kept of an earlier file of a source, and that source."""
    doubts: tuple[str, ...] = ()
    """Why figures can hardly be what they are said to be."""
    set_aside: dict[str, int] = field(default_factory=dict)
    """Rows that are no records and were not read, by kind: title, units, total, header, remark."""
    refused: tuple[RefusedRow, ...] = ()
    """Of a dry run the first rows that would be rejected, at most ``REFUSED_TOLD``."""
    names: tuple[dict[str, str | int | float | None], ...] = ()
    """Of a dry run the new names that may be misspelt: rows of ``Market.names``."""
    doubles: tuple[str, ...] = ()
    """Of a dry run records of the market that new rows may be one sale with, at most ``DOUBLES_TOLD``."""


def load_files(
    connect: Connect,
    files: Sequence[Path],
    mapping_file: Path | None,
    base_currency: str,
    today: date,
    progress: Progress,
    *,
    keep: bool,
    idempotency: IdempotencyKey | None,
    believe: bool,
) -> LoadReport:
    """Load files into the market that ``connect`` opens; see ``Market.load``."""
    mapping_of_all = None if mapping_file is None else read_mapping(mapping_file)
    with connect() as opened:
        older = terms.stored_charges(opened)
        rates = terms.own_rates(opened)
        names = CarNames.of(known_cars(opened))
        known_mappings = terms.kept_mappings(opened)
        waiting = frame(opened, "SELECT DISTINCT source FROM quarantine WHERE settled_by IS NULL")["source"]
    mappings: dict[str, Mapping] = {}
    staged: list[Staged] = []
    set_aside: Counter[str] = Counter()
    known_again: dict[str, str] = {}
    for file in files:
        mapping = mapping_of_all or mapping_beside(file)
        if mapping is not None:
            mappings[mapping.source] = mapping
        charges = terms.charges_in_force(
            older, [charge for known in mappings.values() for charge in known.charges]
        )
        pricing_terms = PricingTerms(base_currency, today, charges, rates, waiting, names)
        parts = read_file(file, Layout() if mapping is None else mapping.layout)
        if mapping is None and not is_page(file):
            first = next(parts)
            parts = chain([first], parts)
            if not set(ASKED) <= set(first.frame.columns):
                mapping = recognised(first.frame.columns, known_mappings)
            if mapping is not None:
                known_again[file.name] = mapping.source
                mappings[mapping.source] = mapping
        try:
            for part, rows in _in_order(parts, lambda part: stage(part.frame, file, mapping, pricing_terms)):  # noqa: B023
                staged.append(rows)
                set_aside.update(part.set_aside)
                progress("read", part.rows_done, part.rows_expected)
        except TableError as error:
            raise TableError(
                f"{file}: {error}; say which of its columns is which of ours with: "
                f"pricing map {shlex.quote(str(file))}"
            ) from None
    doubtful = _doubts(connect, staged, base_currency)
    if doubtful and keep and not believe:
        raise DoubtError(f"nothing was loaded: {'; '.join(doubtful)}")
    with connect(write=True, keep=keep) as opened:
        before = None if keep else list_names(opened)
        report = _store(opened, files, staged, mappings.values(), progress, 0 if keep else REFUSED_TOLD)
        report = replace(
            report, set_aside=dict(set_aside.most_common()), doubts=doubtful, recognised=known_again
        )
        if before is not None:
            doubles = doubles_of(opened, report.batch_id, DOUBLES_TOLD)
            if report.accepted == 1:
                doubles = tuple(dict.fromkeys((*doubles, *nearly_same(opened, report.batch_id))))
            key = ["field", "make", "model", "typed"]
            proposed = list_names(opened).filter(pl.col("state") == "proposed")
            new = proposed.join(before, on=key, how="anti", nulls_equal=True)
            report = replace(report, names=tuple(new.to_dicts()), doubles=doubles)
        keep_result(opened, idempotency, asdict(report))
        keys_due = keep and bool(missing_keys(opened, TABLES))
    if keys_due:
        with connect(write=True) as opened:
            create_missing_keys(opened, TABLES)
    return report


def _doubts(connect: Connect, staged: Sequence[Staged], base: str) -> tuple[str, ...]:
    """What is doubtful in what was read, held against the market; of large files in a part of them."""
    about = ("model_key", "price", "currency", "odometer_km", "year", "outcome")
    records = [rows.records.select(about) for rows in staged if rows.records.height]
    if not records:
        return ()
    priced = pl.concat(records).filter(pl.col("outcome").is_in(["sold", "asking"]))
    if priced.height > DOUBTED_ROWS:
        priced = priced.sample(DOUBTED_ROWS, seed=0)
    with connect() as opened:
        market = frame(opened, MARKET)
    return doubts(priced, market, base)


def _in_order(parts: Iterator[Part], work: Callable[[Part], Staged]) -> Iterator[tuple[Part, Staged]]:
    """Work on some parts side by side, and give them in their order; only a few are held at a time."""
    waiting: deque[tuple[Part, Future[Staged]]] = deque()
    with ThreadPoolExecutor(PARTS_AT_ONCE) as pool:
        for part in parts:
            waiting.append((part, pool.submit(work, part)))
            if len(waiting) > PARTS_AT_ONCE:
                ready, rows = waiting.popleft()
                yield ready, rows.result()
        for ready, rows in waiting:
            yield ready, rows.result()


def _store(
    opened: Opened,
    files: Sequence[Path],
    staged: list[Staged],
    mappings: Iterable[Mapping],
    progress: Progress,
    most_refused: int,
) -> LoadReport:
    """Insert what is new, inside the transaction of ``opened``; empties ``staged`` on the way. Of that many
    rejected rows the report tells."""
    loaded_at = now()
    batch_id = next_name(opened, "batches", "batch")
    by_rule: Counter[str] = Counter()
    read: Counter[str] = Counter({file.name: 0 for file in files})
    rejected: Counter[str] = Counter()
    total = sum(rows.height for rows in staged)
    mended = waiting = 0
    refused: list[RefusedRow] = []
    cells: dict[str, Any] = {
        name: dict(sum((rows.cells[name] for rows in staged), Counter[str]()).most_common())
        for name in ("not_known", "said_otherwise", "unseen")
    }
    while staged:
        heights, records, bad = _take(staged)
        read.update(heights)
        _store_records(opened, records, batch_id)
        new = _store_rejected(opened, bad, batch_id)
        mended += _settle(opened, records, bad, batch_id)
        rejected.update(new["file"].to_list())
        first = new.head(most_refused - len(refused)).select("file", "row_number", "broken_rules", "raw")
        refused += [RefusedRow(file, row, tuple(rules), raw) for file, row, rules, raw in first.iter_rows()]
        waiting += bad.height - new.height
        by_rule.update(new["broken_rules"].explode().to_list())
        progress("store", read.total(), total)
    counted = run(opened, "SELECT file, count(*) FROM records WHERE batch_id = ? GROUP BY file", [batch_id])
    accepted: Counter[str] = Counter(dict(counted))
    reports = tuple(
        FileReport(file, count, accepted[file], rejected[file], count - accepted[file] - rejected[file])
        for file, count in read.items()
    )
    linked = link_batch(opened, batch_id) if accepted else 0
    terms.keep_mappings(opened, mappings)
    known = total - accepted.total() - rejected.total()
    counts: dict[str, Any] = {
        "read": total,
        "accepted": accepted.total(),
        "rejected": rejected.total(),
        "known": known,
    }
    changed = counts["accepted"] + counts["rejected"] + mended > 0
    if changed:
        names = [file.name for file in files]
        add_row(opened, "batches", batch_id=batch_id, loaded_at=loaded_at, files=names, **counts)
        detail = {"files": names, **counts, "mended": mended, "linked": linked}
        write_audit(opened, loaded_at, "load", batch_id, detail)
    return LoadReport(
        **counts,
        batch_id=batch_id if changed else None,
        by_rule=dict(by_rule.most_common()),
        files=reports,
        linked=linked,
        waiting=waiting,
        refused=tuple(refused),
        **cells,
    )


def _take(staged: list[Staged]) -> tuple[Counter[str], pl.DataFrame, pl.DataFrame]:
    """Take parts off the list until there is enough for one statement: few large inserts are quickest. Gives
    how many rows were read of each file, the records and the rejected rows."""
    parts: list[Staged] = []
    while staged and sum(part.height for part in parts) < ROWS_A_STATEMENT:
        parts.append(staged.pop(0))
    read: Counter[str] = Counter()
    for part in parts:
        read[part.file] += part.height
    records = pl.concat([part.records for part in parts], rechunk=False)
    if records["record_id"].n_unique() < records.height:
        records = records.unique("record_id", keep="first", maintain_order=True)
    return read, records, pl.concat([part.rejected for part in parts])


def _store_records(opened: Opened, records: pl.DataFrame, batch_id: str) -> None:
    """Insert the records that the market does not hold yet."""
    known_ids = frame(
        opened,
        "SELECT record_id FROM staged SEMI JOIN records USING (record_id) UNION ALL SELECT record_id "
        'FROM corrections WHERE "column" = $whole AND new IS NULL',
        {"whole": WHOLE},
        staged=records.select("record_id"),
    )["record_id"]
    new = records.select(*COLUMNS, *PRICE_COLUMNS, "file", "row_number", *KEYS)
    if not known_ids.is_empty():
        new = new.filter(~pl.col("record_id").is_in(known_ids.implode()))
    add_rows(opened, "records", new.with_columns(batch_id=pl.lit(batch_id)))


def _settle(opened: Opened, records: pl.DataFrame, rejected: pl.DataFrame, batch_id: str) -> int:
    """Mark quarantined rows that these bring in after all, or have taken the place of; returns how many."""
    replaced = rejected.filter(pl.col("mends") != pl.col("quarantine_id"))
    mends = pl.concat([records.select("mends", "source"), replaced.select("mends", "source")]).drop_nulls()
    if mends.is_empty():
        return 0
    settled = value(
        opened,
        "UPDATE quarantine SET settled_by = ? FROM staged WHERE quarantine.quarantine_id = staged.mends "
        "AND quarantine.source = staged.source AND settled_by IS NULL",
        [batch_id],
        staged=mends,
    )
    return int(settled)


def _store_rejected(opened: Opened, rejected: pl.DataFrame, batch_id: str) -> pl.DataFrame:
    """Put the rejected rows that are not there yet into quarantine; returns them."""
    if rejected.is_empty():
        return rejected
    distinct = rejected.unique("quarantine_id", keep="first", maintain_order=True)
    new = frame(opened, "SELECT * FROM staged ANTI JOIN quarantine USING (quarantine_id)", staged=distinct)
    add_rows(opened, "quarantine", new.drop("mends").with_columns(batch_id=pl.lit(batch_id)))
    return new
