"""What pages keep in memory beside the market's snapshot, which they share with the API.

A frame or model in memory is shared by all visitors: pages read it and never change it. What depends on
records alone is kept until records change; a fit, a setting or a draft that is written meanwhile leaves it.
"""

import gc
import os
from decimal import Decimal
from pathlib import Path
from typing import Final

import polars as pl
import streamlit as st
from streamlit.typing import UploadedFile

from pricing.appraisal.register import listed
from pricing.condition.assessment import assess
from pricing.condition.catalogue import quotes_of
from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import to_json
from pricing.condition.repairs import RepairCosts, price_repairs
from pricing.evidence.depth import Depth, market_depth
from pricing.evidence.index import PriceIndex, price_index
from pricing.intake.layout import Layout
from pricing.intake.proposals import SAMPLE
from pricing.intake.readers import read_file
from pricing.intake.transfers import received
from pricing.model.saved_scores import SavedScores, load_scores
from pricing.operations.serving import DEMO_VARIABLE, MARKET_VARIABLE
from pricing.operations.settings import catalogue_in_force
from pricing.snapshot import Snapshot
from pricing.snapshot_source import source_of
from pricing.store.market_paths import market_path

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
    """Whether it is the demo market, in place of one's own."""
    demo = os.environ.get(DEMO_VARIABLE)
    return demo is not None and snapshot.path == Path(demo).absolute() != own_market_path().absolute()


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
    catalogue, base = catalogue_in_force(snapshot), snapshot.base_currency
    return snapshot.by_write.get(
        ("repairs", to_json(inspection), country, quotes),
        lambda: price_repairs(
            assess(inspection),
            catalogue,
            country=country,
            currency=base,
            quotes=quotes_of(dict(quotes), base, catalogue.price_date),
        ),
        most=ANSWERS_KEPT,
    )


@st.cache_resource(max_entries=UPLOADS_KEPT, show_spinner="Reading the file")
def sample(file_id: str, layout: Layout, _upload: UploadedFile) -> pl.DataFrame:
    """The first rows of an upload, lying as ``layout`` says; no other upload has its ``file_id``."""
    with received(_upload.name, _upload.getbuffer()) as path:
        return next(read_file(path, layout)).frame.head(SAMPLE)


def appraisals(snapshot: Snapshot) -> pl.DataFrame:
    """The appraisals of the market, each in its last revision."""
    return snapshot.by_write.get("appraisals", lambda: listed(snapshot.market))


def scores(snapshot: Snapshot) -> SavedScores | None:
    """The scores kept last in the market file."""
    return snapshot.by_write.get("scores", lambda: load_scores(snapshot.market))


def listing(snapshot: Snapshot, kind: str) -> pl.DataFrame:
    """What waits or was done: ``batches``, ``quarantine``, ``suspicions``, ``duplicates``, ``names``."""
    return snapshot.by_write.get(("listing", kind), lambda: getattr(snapshot.market, kind)())
