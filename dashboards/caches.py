"""Every cache of the dashboard, each a function of its arguments alone.

A frame or model in a cache is shared by all visitors: pages read it and never change it. What depends on
records alone is kept until records change; a fit, a setting or a draft that is written meanwhile leaves it.
"""

import gc
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Final, TypeVar

import polars as pl
import streamlit as st
from streamlit.typing import UploadedFile

from pricing.appraisal.register import listed
from pricing.car import Names
from pricing.condition.assessment import assess
from pricing.condition.catalogue import Catalogue, quotes_of
from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import to_json
from pricing.condition.repairs import RepairCosts, price_repairs
from pricing.decisions.selling_evidence import SellingEvidence, selling_evidence
from pricing.evidence.depth import Depth, market_depth
from pricing.evidence.index import PriceIndex, price_index
from pricing.evidence.sales_book import SalesBook
from pricing.intake.layout import Layout
from pricing.intake.proposals import SAMPLE
from pricing.intake.readers import read_file
from pricing.intake.transfers import received
from pricing.model.price_model import PriceModel
from pricing.model.saved import load
from pricing.model.saved_scores import SavedScores, load_scores
from pricing.money.charges import Schedule
from pricing.operations.serving import DEMO_VARIABLE, MARKET_VARIABLE
from pricing.operations.settings import Settings, catalogue_of, schedule_of_text
from pricing.progress import Progress, untold
from pricing.store.market import Market
from pricing.store.market_paths import market_path
from pricing.store.rates import own_rates_of
from pricing.store.settings import read_settings
from pricing.store.state import StoredState, read_state
from pricing.words.market_standing import market_warning

KEPT: Final = 2
"""States of the market file kept in memory at a time."""

Where = tuple[tuple[str, str], ...]
"""Columns and the values that they are to have."""

Quotes = tuple[tuple[str, Decimal], ...]
"""Jobs of the repair catalogue, and what they were quoted at."""

Cached = TypeVar("Cached", bound=Callable[..., Any])
CARS_KEPT: Final = 64
"""Models of cars whose records are kept at hand."""


@dataclass(frozen=True)
class MarketState:
    """The market file as it was at one moment.

    ``records`` changes when a sale may have, ``fit`` is the newest fit, ``stamp`` changes with any write.
    """

    path: str
    records: str
    fit: str | None
    stale: bool
    batches: int
    demo: bool
    warning: str | None
    stamp: tuple[int, int] = field(repr=False)

    @property
    def market(self) -> Market:
        """The market file, opened for questions."""
        return Market.open(self.path, create=False)

    @property
    def base_currency(self) -> str:
        return base_currency(self)

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        """The sales, as ``Market.sales`` gives them."""
        frame = sales(self)
        return frame if as_of is None else frame.filter(pl.col("event_date") <= as_of)


@dataclass(frozen=True)
class ModelRecords:
    """The records of one model of car, as evidence for the valuation of one: the rest of the market has no
    part in it."""

    state: MarketState
    make: str
    model: str

    @property
    def base_currency(self) -> str:
        return self.state.base_currency

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        frame = model_sales(self.state, self.make, self.model)
        return frame if as_of is None else frame.filter(pl.col("event_date") <= as_of)


def own_market_path() -> Path:
    """The market file that the environment names, there or not: what is loaded goes there. Of a server's
    market the local copy, brought up to date."""
    return market_path(os.environ.get(MARKET_VARIABLE, "market.duckdb"))


def market_state() -> MarketState | None:
    """The state of that market file, or of the demo market while there is none; nothing without either."""
    demo = os.environ.get(DEMO_VARIABLE)
    for path, is_demo in ((own_market_path(), False), (None if demo is None else Path(demo), True)):
        if path is None:
            continue
        try:
            found = path.stat()
        except OSError:
            continue
        stamp = (found.st_mtime_ns, found.st_size)
        stored = _stored(str(path), stamp)
        return MarketState(
            str(path), stored.records, stored.fit, stored.stale, stored.batches, is_demo,
            market_warning(stored, datetime.now(UTC).date()), stamp,
        )  # fmt: skip
    return None


def _records(state: MarketState) -> Any:
    return state.path, state.records


def _fit(state: MarketState) -> Any:
    return state.path, state.records, state.fit


def _any_write(state: MarketState) -> Any:
    return state.path, state.stamp


def _kept(
    by: Callable[[MarketState], Any], spinner: str | bool = False, entries: int = KEPT
) -> Callable[[Cached], Cached]:
    """A cache whose answers stay until what ``by`` reads of the market's state changes."""
    return st.cache_resource(  # type: ignore[return-value]
        max_entries=entries, show_spinner=spinner, hash_funcs={MarketState: by}
    )


@st.cache_resource(show_spinner=False)
def settle() -> None:
    """Once a page was shown, leave all that it took out of the search for garbage. Streamlit makes one after
    every run of every visitor, and to look through all modules each time would stop everybody for .25 s."""
    gc.collect()
    gc.freeze()


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def _stored(path: str, stamp: tuple[int, int]) -> StoredState:
    Market.open(path, create=False)  # refuses a file of another kind
    return read_state(Path(path))


@_kept(_records, "Reading the sales")
def sales(state: MarketState) -> pl.DataFrame:
    """All sales of the market."""
    return state.market.sales()


@_kept(_records, entries=CARS_KEPT)
def model_sales(state: MarketState, make: str, model: str) -> pl.DataFrame:
    """The sales and offers of one model of car."""
    return sales(state).filter(pl.col("make") == make, pl.col("model") == model)


@_kept(_records, "Reading the sales")
def every_record(state: MarketState) -> pl.DataFrame:
    """All records, those too that stand behind a better one of the same sale."""
    return state.market.sales(every_record=True)


@_kept(_fit, "Reading the price model")
def model(state: MarketState) -> PriceModel:
    """The newest price model kept in the market file."""
    return load(state.market, state.fit)


@_kept(_fit)
def sales_book(state: MarketState) -> SalesBook:
    """The sales laid out to be held against a car."""
    return SalesBook.build(sales(state), model(state), currency=state.base_currency)


@_kept(_records)
def base_currency(state: MarketState) -> str:
    """The currency that all prices are in (ISO 4217)."""
    return state.market.base_currency


@_kept(_records)
def names(state: MarketState) -> pl.DataFrame:
    """Every make, model and variant on record with its number of ``sales``, in alphabetical order."""
    return (
        sales(state)
        .group_by("make", "model", "variant")
        .agg(sales=(pl.col("outcome") == "sold").sum())
        .sort("make", "model", "variant")
    )


@_kept(_records)
def known_names(state: MarketState) -> Names:
    """The makes, models and variants on record, to be found by any spelling."""
    return Names.of(sales(state))


@_kept(_records, entries=8)
def values(state: MarketState, column: str) -> list[str]:
    """The values on record of a column of text, in alphabetical order."""
    return sales(state)[column].drop_nulls().unique().sort().to_list()


@_kept(_records, entries=32)
def sales_of(state: MarketState, where: Where) -> int:
    """How many records there are of a make, a model, or all."""
    return sales(state).filter(*(pl.col(name) == value for name, value in where)).height


@_kept(_records, entries=32)
def price_index_of(state: MarketState, where: Where, method: str, period: str) -> PriceIndex:
    """The price index of a make, a model, or all."""
    return price_index(sales(state), method=method, period=period, where=dict(where))


@_kept(_fit, entries=32)
def depth_of(state: MarketState, where: Where) -> Depth:
    """How much is known of a make, a model, or all."""
    return market_depth(sales(state), where=dict(where), model=model(state), every_record=every_record(state))


@_kept(_any_write)
def settings(state: MarketState) -> Settings:
    """The settings kept in the market file."""
    return Settings.read(read_settings(Path(state.path)))


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def _catalogue(text: str | None) -> Catalogue:
    return catalogue_of(text)


def repair_catalogue(state: MarketState) -> Catalogue:
    """The repair catalogue in force, its labour rates those of the settings."""
    kept = settings(state)
    return kept.with_labour(_catalogue(kept.catalogue))


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def _schedule(text: str | None) -> Schedule | None:
    return schedule_of_text(text)


def schedule(state: MarketState) -> Schedule | None:
    """The schedule of charges in force, if there is one."""
    return _schedule(settings(state).charges)


@_kept(_any_write)
def own_rates(state: MarketState) -> pl.DataFrame:
    """The market's own dated exchange rates, as ``own_rates_of`` gives them."""
    return own_rates_of(Path(state.path))


@_kept(_fit)
def selling_evidence_of(state: MarketState, _tell: Progress = untold) -> SellingEvidence:
    """What the records say of how cars sell; takes about as long as a fit."""
    return selling_evidence(state.market, model(state), progress=_tell)


@_kept(_any_write, entries=16)
def _repair_costs(
    state: MarketState, kept: str, country: str, quotes: Quotes, _inspection: Inspection
) -> RepairCosts:
    catalogue, base = repair_catalogue(state), state.base_currency
    return price_repairs(
        assess(_inspection), catalogue, country=country, currency=base,
        quotes=quotes_of(dict(quotes), base, catalogue.price_date),
    )  # fmt: skip


def repair_costs(
    state: MarketState, inspection: Inspection, country: str, quotes: Quotes = ()
) -> RepairCosts:
    """What every repair of an inspected car would cost, with quotes in place of the catalogue's prices; kept
    while the sheet and the quotes stay as they are."""
    return _repair_costs(state, to_json(inspection), country, quotes, inspection)


@st.cache_resource(max_entries=KEPT, show_spinner="Reading the file")
def sample(file_id: str, layout: Layout, _upload: UploadedFile) -> pl.DataFrame:
    """The first rows of an upload, lying as ``layout`` says; no other upload has its ``file_id``."""
    with received(_upload.name, _upload.getbuffer()) as path:
        return next(read_file(path, layout)).frame.head(SAMPLE)


@_kept(_any_write)
def appraisals(state: MarketState) -> pl.DataFrame:
    """The appraisals of the market, each in its last revision."""
    return listed(state.market)


@_kept(_any_write)
def scores(state: MarketState) -> SavedScores | None:
    """The scores kept last in the market file."""
    return load_scores(state.market)


@_kept(_any_write, entries=12)
def listing(state: MarketState, kind: str) -> pl.DataFrame:
    """What waits or was done: ``batches``, ``quarantine``, ``suspicions``, ``duplicates``, ``names``."""
    found: pl.DataFrame = getattr(state.market, kind)()
    return found
