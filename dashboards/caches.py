"""What pages keep in memory beside the market's snapshot, which they share with the API.

A frame or model in memory is shared by all visitors: pages read it and never change it. What depends on
records alone is kept until records change; a fit, a setting or a draft that is written meanwhile leaves it.
"""

import gc
import os
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st

from pricing.appraisal.register import listed
from pricing.car import today
from pricing.condition.assessment import assess
from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import to_json
from pricing.condition.repairs import RepairCosts
from pricing.evidence.depth import Depth, market_depth
from pricing.evidence.indices.index import PriceIndex, price_index
from pricing.evidence.movers import movers
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import mapping_text, write_mapping_text
from pricing.intake.mappings.proposals import SAMPLE, Proposal, propose
from pricing.intake.names import FIELDS, with_doubtful_names
from pricing.intake.tables.layout import Layout
from pricing.intake.tables.readers import read_file, sheet_names
from pricing.intake.transfers import received
from pricing.intake.written.cars import CarNames
from pricing.model.accuracy.saved_scores import SavedScores, load_scores
from pricing.operations.opening import is_invented
from pricing.operations.serving import DEMO_VARIABLE, MARKET_VARIABLE
from pricing.operations.settings import repairs_in_force
from pricing.snapshot import Snapshot
from pricing.snapshot_source import source_of
from pricing.store.market_paths import market_path
from pricing.store.records.first_load import load_into
from pricing.store.records.loading import LoadReport

UPLOADS_KEPT: Final = 2
"""Uploads whose first rows are kept at hand."""

ANSWERS_KEPT: Final = 32
"""Answers of one kind, such as indices of models, that are kept at hand."""

Quotes = tuple[tuple[str, Decimal], ...]
"""Jobs of the repair catalogue, and what they were quoted at."""

Where = tuple[tuple[str, str], ...]
"""Columns and the values that they are to have."""


def own_market_path() -> Path:
    """The market file that the environment names, there or not: what is loaded goes there. Of a server's
    market the local copy, brought up to date."""
    return market_path(os.environ.get(MARKET_VARIABLE, "market.duckdb"))


def snapshot() -> Snapshot | None:
    """That market, or the demo market while there is none; nothing without either."""
    demo = os.environ.get(DEMO_VARIABLE)
    for path in (own_market_path(), *([] if demo is None else [Path(demo)])):
        if path.exists():
            return source_of(path).newest()
    return None


def is_demo(snapshot: Snapshot) -> bool:
    """Whether it is a demo market, in place of one's own."""
    if is_invented(snapshot.state):
        return True
    demo = os.environ.get(DEMO_VARIABLE)
    return demo is not None and snapshot.path == Path(demo).absolute() != own_market_path().absolute()


def own_snapshot() -> Snapshot | None:
    """The person's own market, once there is one."""
    newest = snapshot()
    return None if newest is None or is_demo(newest) else newest


@st.cache_resource(show_spinner=False)
def settle() -> None:
    """Once a page was shown, leave all that it took out of the search for garbage. Streamlit makes one after
    every run of every visitor, and to look through all modules each time would stop everybody for .25 s."""
    gc.collect()
    gc.freeze()


def values(snapshot: Snapshot, column: str) -> list[str]:
    """The values on record of a column of text, in alphabetical order."""
    return snapshot.by_records.get(
        ("values", column), lambda: snapshot.sales()[column].drop_nulls().unique().sort().to_list()
    )


def offered_names(snapshot: Snapshot, *held: str | None) -> pl.DataFrame:
    """The names on record (``Snapshot.counts``) without those that are likely misspelt and not settled, but
    with those that are ``held`` already."""
    names = snapshot.by_records.get(
        "offered", lambda: with_doubtful_names(snapshot.counts, snapshot.market.names())
    )
    chosen = [name for name in held if name is not None]
    doubtful = [pl.col(f"{name}_doubtful") & ~pl.col(name).is_in(chosen) for name in FIELDS]
    return names.filter(~pl.any_horizontal(doubtful))


def sales_of(snapshot: Snapshot, where: Where) -> int:
    """How many records there are of a make, a model, or all."""
    return snapshot.by_records.get(
        ("sales of", where), lambda: snapshot.sales().filter(**dict(where)).height, most=ANSWERS_KEPT
    )


def price_index_of(snapshot: Snapshot, where: Where, method: str, period: str) -> PriceIndex:
    """The price index of a make, a model, or all."""
    return snapshot.by_records.get(
        ("index", where, method, period),
        lambda: price_index(snapshot.sales(), method=method, period=period, where=dict(where)),
        most=ANSWERS_KEPT,
    )


def movers_of(snapshot: Snapshot) -> pl.DataFrame:
    """What rose and what fell in the year to the last sale."""
    return snapshot.by_records.get(
        "movers", lambda: movers(snapshot.sales(), snapshot.state.last_sale or today())
    )


def depth_of(snapshot: Snapshot, where: Where) -> Depth:
    """How much is known of a make, a model, or all."""
    return snapshot.by_fit.get(
        ("depth", where),
        lambda: market_depth(
            snapshot.sales(),
            where=dict(where),
            model=snapshot.model,
            every_record=snapshot.sales(every_record=True),
        ),
        most=ANSWERS_KEPT,
    )


def repair_costs(
    snapshot: Snapshot, inspection: Inspection, country: str, quotes: Quotes = ()
) -> RepairCosts:
    """What every repair of an inspected car would cost, with quotes in place of the catalogue's prices; kept
    while the sheet and the quotes stay as they are."""
    return snapshot.by_write.get(
        ("repairs", to_json(inspection), country, quotes),
        lambda: repairs_in_force(snapshot, assess(inspection), country, dict(quotes)),
        most=ANSWERS_KEPT,
    )


@dataclass(frozen=True)
class GivenTable:
    """A table that a visitor has given: a file, or what was pasted. No other has its ``key``."""

    name: str
    key: str
    content: bytes | memoryview = field(repr=False, compare=False)


_HASHES: Final[dict[Any, Any]] = {
    GivenTable: lambda table: table.key, Mapping: mapping_text, CarNames: lambda names: 0,
}  # fmt: skip
_OF_UPLOADS: Final[dict[str, Any]] = {"max_entries": UPLOADS_KEPT, "hash_funcs": _HASHES}


@st.cache_resource(show_spinner="Reading the file", **_OF_UPLOADS)
def sheets_of(table: GivenTable) -> list[str]:
    """The sheets of a workbook that was given."""
    with received(table.name, table.content) as path:
        return sheet_names(path)


@st.cache_resource(show_spinner="Reading the file", **_OF_UPLOADS)
def sample(table: GivenTable, layout: Layout) -> pl.DataFrame:
    """The first rows of a table that was given, lying as ``layout`` says."""
    with received(table.name, table.content) as path:
        return next(read_file(path, layout)).frame.head(SAMPLE)


@st.cache_resource(max_entries=8, show_spinner="Looking at the columns", hash_funcs=_HASHES)
def proposal(
    table: GivenTable,
    layout: Layout,
    chosen: tuple[tuple[str, str | None], ...],
    earlier: Mapping | None,
    records: str,
    _names: CarNames,
) -> Proposal:
    """What is proposed for a table that was given; the names are those of the market's ``records``."""
    name = table.name.split(".")[0] if earlier is None else earlier.source
    return propose(sample(table, layout), name, chosen=dict(chosen), earlier=earlier, names=_names)


@st.cache_resource(show_spinner="Trying every row", **_OF_UPLOADS)
def trial(market: str, records: str, table: GivenTable, mapping: Mapping) -> LoadReport:
    """What a load of a table that was given would come to; the market holds these ``records``."""
    with received(table.name, table.content) as path:
        beside = path.with_name("mapping.toml")
        write_mapping_text(mapping_text(mapping), beside)
        return load_into(market, [path], mapping=beside, dry_run=True)


def car_names(snapshot: Snapshot) -> CarNames:
    """The names of the market's cars, by which whole cars in one cell are parted."""
    return snapshot.by_records.get("car names", snapshot.market.car_names)


def kept_mappings(snapshot: Snapshot) -> list[Mapping]:
    """The mappings that the market keeps, one a source."""
    return snapshot.by_write.get("mappings", snapshot.market.kept_mappings)


def appraisals(snapshot: Snapshot) -> pl.DataFrame:
    """The appraisals of the market, each in its last revision."""
    return snapshot.by_write.get("appraisals", lambda: listed(snapshot.market))


def scores(snapshot: Snapshot) -> SavedScores | None:
    """The scores kept last in the market file."""
    return snapshot.by_write.get("scores", lambda: load_scores(snapshot.market))


def listing(snapshot: Snapshot, kind: str) -> pl.DataFrame:
    """What waits or was done: ``batches``, ``quarantine``, ``suspicions``, ``duplicates``, ``names``."""
    return snapshot.by_write.get(("listing", kind), lambda: getattr(snapshot.market, kind)())
