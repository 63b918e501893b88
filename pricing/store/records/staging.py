"""Rows of a file made ready to store: mapped, checked, priced, and given an identity.

A record is the content of its row: the same content from the same source is the same record. A rejected row
is its cells as they stood in the file.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Final

import duckdb
import polars as pl

from pricing.clean_text import cleaned, cleaned_lines, holds_unseen, is_odd
from pricing.intake.checking import ADDED, check_rows
from pricing.intake.duplicates import with_keys
from pricing.intake.exports import restored, restored_names
from pricing.intake.listings import is_page
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.tables.text_tables import EXTRA_CELLS
from pricing.intake.written.cars import CarNames
from pricing.intake.written.table import SAID_OTHERWISE
from pricing.money.charges import Charge
from pricing.money.prices import price_records
from pricing.records.cells import raw_text
from pricing.records.contract import COLUMNS
from pricing.store.connection import frame

EXPORT_FRONT: Final = ("quarantine_id", "file", "row_number", "broken_rules", "source")
"""Columns of an exported quarantine before the source's own; a mended row stands for ``quarantine_id``."""

_CONTENT: Final = tuple(name for name in COLUMNS if name not in ("record_id", "batch_id", "date_precision"))
_PLACEHOLDER: Final = "-"


@dataclass(frozen=True)
class Staged:
    """Some rows of one file, ready to store. In both frames ``mends`` names the quarantined row stood for."""

    file: str
    height: int
    records: pl.DataFrame
    """Priced records."""
    rejected: pl.DataFrame
    """quarantine_id, source, file, row_number, raw (JSON), broken_rules, mends."""
    cells: dict[str, Counter[str]]
    """Cells of ``records`` of which a ``LoadReport`` tells: ``not_known``, ``said_otherwise``, ``unseen``."""


@dataclass(frozen=True)
class PricingTerms:
    """What rows are checked and priced against."""

    base_currency: str
    today: date
    charges: Sequence[Charge]
    own_rates: pl.DataFrame
    waiting: pl.Series
    """Sources that have rows in quarantine."""
    names: CarNames = field(default_factory=CarNames)
    """Of the cars that the market holds."""


def stage(raw: pl.DataFrame, file: Path, mapping: Mapping | None, terms: PricingTerms) -> Staged:
    """Make some rows of a file ready; ``raw`` has their ``row_number``."""
    cells, stands_for = raw.drop("row_number"), None
    marks = EXPORT_FRONT[0], EXPORT_FRONT[3]
    if all(name in cells.columns and cells.schema[name] == pl.String for name in marks):
        cells = restored_names(cells.with_columns(restored(pl.col(pl.String))))
        stands_for = cells[EXPORT_FRONT[0]]
    if is_page(file):
        mapped = cells if mapping is None else mapping.complete(cells)
    else:
        own = cells.drop(ADDED, strict=False)  # what checks add is none of the file's
        mapped = own if mapping is None else mapping.apply(cells, terms.names)
    if stands_for is not None:
        cells = cells.drop(EXPORT_FRONT, strict=False)
    mapped = mapped.with_columns(
        _filled(mapped, "source", file.name.split(".")[0]),
        _filled(mapped, "source_ref", _PLACEHOLDER),
        pl.lit(_PLACEHOLDER).alias("record_id"),
        pl.lit(_PLACEHOLDER).alias("batch_id"),
        pl.int_range(pl.len(), dtype=pl.UInt32).alias("place"),
    )
    checked = check_rows(mapped, terms.today, terms.base_currency, written=mapping is None)
    priced = price_records(checked.accepted, terms.base_currency, terms.charges, terms.own_rates)
    if EXTRA_CELLS in raw.columns:
        extra = raw[EXTRA_CELLS].is_not_null().gather(priced["place"])
        priced = priced.with_columns(
            unpriced=pl.when(extra).then(pl.lit("cells_beyond_header")).otherwise("unpriced")
        )
    unpriced = priced.filter(pl.col("unpriced").is_not_null())
    no_price = unpriced.select("place", broken_rules=pl.concat_list("unpriced"))
    broken = pl.concat([checked.broken, no_price]).sort("place")
    of_file = pl.lit(file.name).alias("file")
    records = with_keys(priced.filter(pl.col("unpriced").is_null())).with_columns(of_file)
    records = records.with_columns(raw["row_number"].gather(records["place"]))
    rejected = _fingerprints(cells, mapped, broken["place"]).with_columns(
        broken["broken_rules"], raw["row_number"].gather(broken["place"]), of_file
    )
    records = _identified(records, checked.in_base)
    here = checked.remarks.filter(pl.col("place").is_in(records["place"].implode()))
    counts = {
        name: Counter(here[name].explode().drop_nulls().to_list()) for name in ("not_known", SAID_OTHERWISE)
    } | {"unseen": _unseen(mapped, records["place"])}
    mended: pl.Series | pl.Expr = pl.lit(None, dtype=pl.String)
    replaced = mended
    if stands_for is not None:
        mended, replaced = stands_for.gather(records["place"]), stands_for.gather(broken["place"])
    elif terms.waiting.is_in(mapped["source"].unique().implode()).any():
        mended = _fingerprints(cells, mapped, records["place"])["quarantine_id"]
    records, rejected = records.with_columns(mends=mended), rejected.with_columns(mends=replaced)
    return Staged(file.name, raw.height, records, rejected, counts)


def _unseen(mapped: pl.DataFrame, places: pl.Series) -> Counter[str]:
    """How many cells of the rows at ``places`` hold characters that show nothing, by column."""
    words = [name for name in COLUMNS if mapped.schema.get(name) == pl.String and is_odd(mapped[name])]
    if not words:
        return Counter()
    counted = mapped[places].select(holds_unseen(pl.col(name)).sum() for name in words)
    return Counter({name: count for name, count in zip(words, counted.row(0), strict=True) if count})


def _filled(frame: pl.DataFrame, name: str, default: str) -> pl.Expr:
    """A text column with its blanks filled in."""
    if name not in frame.columns:
        return cleaned(cleaned_lines(pl.lit(default))).alias(name)
    text = pl.col(name).cast(pl.String)
    odd = frame.select(text)[name]
    text = cleaned(cleaned_lines(text)) if is_odd(odd) else text.str.strip_chars()
    return pl.when(text != "").then(text).otherwise(pl.lit(default)).alias(name)


def _fingerprints(cells: pl.DataFrame, mapped: pl.DataFrame, places: pl.Series) -> pl.DataFrame:
    """Raw rows as JSON objects of text, with an identity made of source and content."""
    cells = cells.select(raw_text(name, kind) for name, kind in cells.schema.items())
    raw = cells[places].select(raw=pl.struct(pl.all()).struct.json_encode())
    rows = raw.with_columns(mapped["source"].gather(places))
    query = "SELECT left(md5(source || chr(31) || raw), 24) AS quarantine_id, source, raw FROM cells"
    with duckdb.connect() as memory:
        return frame(memory, query, cells=rows)


def _identified(records: pl.DataFrame, in_base: pl.Series) -> pl.DataFrame:
    """Records with their identity: the same content from the same source is the same record, whatever the
    market's currency that those at ``in_base`` are said to be in."""
    if records.is_empty():
        return records
    texts = {name: _as_text(records[name]) for name in _CONTENT} | {"event_date": _day_text(records)}
    if not in_base.is_empty():
        unsaid = pl.col("place").is_in(in_base.implode())
        texts["currency"] = pl.when(unsaid).then(pl.lit("\x1e")).otherwise(texts["currency"])
    content = pl.concat_str(texts.values(), separator="\x1f")
    query = "SELECT left(md5(content), 24) AS record_id FROM staged"
    with duckdb.connect() as memory:
        names = frame(memory, query, staged=records.select(content=content))["record_id"]
    no_reference = pl.col("source_ref") == _PLACEHOLDER
    return records.with_columns(
        names, source_ref=pl.when(no_reference).then("row " + names.str.slice(0, 12)).otherwise("source_ref")
    )


def _as_text(column: pl.Series) -> pl.Expr:
    """A column's cells as text that tells absence from emptiness; one without values is not looked at."""
    if column.null_count() == len(column):
        return pl.lit("\x1e")
    cell = pl.col(column.name)
    text = cell.list.join("\x1d") if column.dtype == pl.List(pl.String) else cell.cast(pl.String)
    return text.fill_null("\x1e")


def _day_text(records: pl.DataFrame) -> pl.Expr:
    """The day of an event as far as it is known, so that another middle of a span is no other record."""
    day, precision = pl.col("event_date"), pl.col("date_precision")
    if records["date_precision"].null_count() == records.height:
        return _as_text(records["event_date"])
    month, year, text = day.dt.strftime("%Y-%m"), day.dt.strftime("%Y"), day.cast(pl.String)
    return pl.when(precision == "month").then(month).when(precision == "year").then(year).otherwise(text)
