"""Every cache of the dashboard, each a function of its arguments alone.

A frame or model in a cache is shared by all visitors: pages read it and never change it.
"""

import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import polars as pl
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from pricing.errors import MarketError
from pricing.intake.layout import Layout
from pricing.intake.proposals import SAMPLE
from pricing.intake.readers import read_file
from pricing.intake.transfers import received
from pricing.model.price_model import PriceModel
from pricing.model.saved import load
from pricing.store import Market

MARKET_VARIABLE: Final = "PRICING_MARKET"
KEPT: Final = 2
"""States of the market file kept in memory at a time."""


@dataclass(frozen=True)
class MarketState:
    """The market file as it was at one moment; ``stamp`` changes with any write to it."""

    path: str
    stamp: tuple[int, int]

    @property
    def base_currency(self) -> str:
        return base_currency(self)

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        """The sales, as ``Market.sales`` gives them."""
        frame = sales(self)
        return frame if as_of is None else frame.filter(pl.col("event_date") <= as_of)


def market_path() -> Path:
    """The market file that the environment names, there or not."""
    return Path(os.environ.get(MARKET_VARIABLE, "market.duckdb"))


def market_state() -> MarketState:
    """The state of that market file.

    Raises:
        MarketError: there is no such file.
    """
    path = market_path()
    try:
        found = path.stat()
    except OSError:
        raise MarketError(f"there is no market file at {path}") from None
    return MarketState(str(path), (found.st_mtime_ns, found.st_size))


@st.cache_resource(max_entries=KEPT, show_spinner="Reading the sales")
def sales(state: MarketState) -> pl.DataFrame:
    """All sales of the market."""
    return Market.open(state.path, create=False).sales()


@st.cache_resource(max_entries=KEPT, show_spinner="Reading the price model")
def model(state: MarketState) -> PriceModel:
    """The newest price model kept in the market file."""
    return load(Market.open(state.path, create=False))


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def fit_is_stale(state: MarketState) -> bool:
    """Whether the market has changed since its newest fit."""
    market = Market.open(state.path, create=False)
    return market.load_fit()[1]["market_digest"] != market.digest()


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def base_currency(state: MarketState) -> str:
    """The currency that all prices are in (ISO 4217)."""
    return Market.open(state.path, create=False).base_currency


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def names(state: MarketState) -> pl.DataFrame:
    """Every make, model and variant on record with its number of ``sales``, in alphabetical order."""
    return (
        sales(state)
        .group_by("make", "model", "variant")
        .agg(sales=(pl.col("outcome") == "sold").sum())
        .sort("make", "model", "variant")
    )


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def values(state: MarketState, column: str) -> list[str]:
    """The values on record of a column of text, in alphabetical order."""
    return sales(state)[column].drop_nulls().unique().sort().to_list()


@st.cache_resource(max_entries=KEPT, show_spinner="Reading the file")
def sample(file_id: str, layout: Layout, _upload: UploadedFile) -> pl.DataFrame:
    """The first rows of an upload, lying as ``layout`` says; no other upload has its ``file_id``."""
    with received(_upload.name, _upload.getbuffer()) as path:
        return next(read_file(path, layout)).frame.head(SAMPLE)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def batches(state: MarketState) -> pl.DataFrame:
    """Every load, the newest first."""
    return Market.open(state.path, create=False).batches().reverse()


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def quarantine(state: MarketState) -> pl.DataFrame:
    """The rejected rows that wait."""
    return Market.open(state.path, create=False).quarantine()
