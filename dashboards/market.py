"""Market: how prices moved at constant quality, how much is known, and what a better band costs."""

from typing import Final

import polars as pl
import streamlit as st

from dashboards import caches, page_layout
from dashboards.exhibits import show_chart, show_table
from dashboards.url_state import BOUND, held_to
from pricing.car import today
from pricing.charts import evidence as market_charts
from pricing.errors import EvidenceError
from pricing.evidence.depth import Depth
from pricing.evidence.indices.index import METHODS, PriceIndex
from pricing.evidence.indices.periods import LENGTHS
from pricing.evidence.indices.sale_points import sale_points
from pricing.evidence.movers import movers
from pricing.snapshot import Snapshot
from pricing.words.evidence import (
    depth_sentences,
    index_caption,
    index_sales_caption,
    index_sentence,
    premiums_caption,
)
from pricing.words.glossary import what_is
from pricing.words.plain_text import escaped, sentence

SALE_RINGS: Final = (
    "Each ring is a sale of the model, against what such a car in that condition sold for when the index "
    "was 100."
)
WHOLE: Final = "the whole market"


def show_page() -> None:
    """Ask which sales, and show their index and the depth of evidence about them."""
    st.title("Market")
    with page_layout.one_sentence():
        market = page_layout.ask_market()
        if market is None:
            return
        snapshot, _ = market
        where = _ask_scope(snapshot)
        method, period = _ask_method()
        sales = caches.sales_of(snapshot, where)
        key = f"index {snapshot.path} {snapshot.state.records} {where} {method} {period}"
        if sales > page_layout.AT_ONCE and not page_layout.done(
            key, "Working out the index", lambda tell: _all(snapshot, where, method, period)
        ):
            return
        try:
            _show_index(snapshot, caches.price_index_of(snapshot, where, method, period), where)
        except EvidenceError as error:
            st.info(escaped(sentence(str(error))))
        _show_depth(caches.depth_of(snapshot, where))
        if not where:
            _show_movers(snapshot)


def _show_movers(snapshot: Snapshot) -> None:
    """What rose and what fell in the last year, searchable, each with the sales behind it."""
    st.subheader("What rose and what fell in a year")
    st.caption(
        "Like sales only: each condition of a model against itself a year before. A model with few sales is "
        "listed without a figure."
    )
    found = snapshot.by_records.get(
        "movers", lambda: movers(snapshot.sales(), snapshot.state.last_sale or today())
    )
    wanted = st.text_input("Find a make or model", key="mover", type="search").casefold().strip()
    named = (pl.col("make") + " " + pl.col("model")).str.to_lowercase()
    shown = found.filter(named.str.contains(wanted, literal=True)) if wanted else found
    if shown.is_empty():
        st.info(escaped(f"Nothing like '{wanted}' sold in the last two years. Try part of the name."))
        return
    number = st.column_config.NumberColumn
    show_table(
        shown.select("make", "model", "per_cent", "low", "high", "sales", "sales_before", "told"),
        "what rose and fell",
        {
            "make": "Make",
            "model": "Model",
            "per_cent": number("Change in a year (%)", format="%+.0f"),
            "low": number("90% interval from", format="%+.0f"),
            "high": number("to", format="%+.0f"),
            "sales": number("Sales this year", format="localized"),
            "sales_before": number("the year before", format="localized"),
            "told": "What that says",
        },
    )


def _all(snapshot: Snapshot, where: caches.Where, method: str, period: str) -> None:
    """What the page needs, into the caches."""
    caches.price_index_of(snapshot, where, method, period)
    caches.depth_of(snapshot, where)


def _ask_scope(snapshot: Snapshot) -> caches.Where:
    """Which sales: of a make, of a model, or of all."""
    names = caches.offered_names(snapshot, st.session_state.get("make"), st.session_state.get("model"))
    first, second = st.columns(2)
    makes = names["make"].unique(maintain_order=True).to_list()
    held_to("make", makes)
    with first:
        make = st.selectbox("Make", makes, None, key="make", placeholder=WHOLE, persist_state="session")
    models = names.filter(pl.col("make") == pl.lit(make, dtype=pl.String))["model"].unique(
        maintain_order=True
    )
    held_to("model", models.to_list())
    with second:
        model = st.selectbox(
            "Model",
            models.to_list(),
            None,
            key="model",
            placeholder="all its models",
            persist_state="session",
        )
    return tuple((name, value) for name, value in (("make", make), ("model", model)) if value is not None)


def _ask_method() -> tuple[str, str]:
    first, second = st.columns(2)
    with first:
        method = st.selectbox(
            "How the trend is worked out", METHODS, key="method", help=what_is("index"), **BOUND
        )
    with second:
        period = st.selectbox("By", list(LENGTHS), list(LENGTHS).index("year"), key="period", **BOUND)
    return method, period


def _show_index(snapshot: Snapshot, index: PriceIndex, where: caches.Where) -> None:
    st.write(escaped(index_sentence(index)))
    points = sale_points(index, snapshot.sales(), dict(where)) if dict(where).get("model") else None
    line = market_charts.index_line_chart(index, points).properties(height=340)
    rings = "" if points is None else f" {SALE_RINGS}"
    show_chart(line, f"{index_caption(index)}{rings}", "price index")
    sales = market_charts.index_sales_chart(index).properties(height=190)
    show_chart(sales, index_sales_caption(index), "sales behind the index")
    with st.expander("The index in figures"):
        number = st.column_config.NumberColumn
        show_table(
            index.frame.select("period", "index", "low", "high", "sales", "note"),
            "index in figures",
            {
                "period": "Period",
                "index": number(f"Index, {index.base} = 100", format="%.1f"),
                "low": number(f"{index.coverage:.0%} interval from", format="%.1f"),
                "high": number("to", format="%.1f"),
                "sales": number("Sales", format="localized"),
                "note": "Why no point",
            },
            every=index.frame,
        )


def _show_depth(depth: Depth) -> None:
    st.subheader("How much is known", help=what_is("evidence depth"))
    for told in depth_sentences(depth):
        st.write(escaped(told))
    if depth.band_premiums["per_cent"].is_not_null().any():
        show_chart(
            market_charts.bands_through_time_chart(depth).properties(height=420),
            premiums_caption(depth),
            "premium of condition bands",
        )
    number = st.column_config.NumberColumn
    against = depth.against.filter(pl.col("sales") > 0)
    if against.height:
        st.subheader("Hammer price against what was expected", help=what_is("hammer price"))
        show_table(
            against.with_columns(
                pl.col("against").str.replace_all("_", " ", literal=True), pl.col("below") * 100
            ),
            "hammer against estimates",
            {
                "against": "Hammer price over",
                "sales": number("Sales", format="localized"),
                "median": number("Middle ratio", format="%.2f"),
                "low": number("95% interval from", format="%.2f"),
                "high": number("to", format="%.2f"),
                "below": number("Below it (%)", format="%.0f"),
            },
            height="content",
        )
