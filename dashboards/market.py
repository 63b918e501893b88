"""Market: how prices moved at constant quality, what sold, what was asked, and what a better car costs."""

from typing import Final

import polars as pl
import streamlit as st

from dashboards import caches, page_layout
from dashboards.exhibits import show_chart, show_table
from dashboards.movers import show_move, show_movers
from dashboards.terms import show_terms
from dashboards.url_state import BOUND, held_to
from pricing.charts import depth as depth_charts
from pricing.charts import evidence as index_charts
from pricing.errors import EvidenceError
from pricing.evidence.depth import Depth
from pricing.evidence.indices.index import METHODS, PriceIndex, sale_points
from pricing.evidence.indices.periods import LENGTHS
from pricing.snapshot import Snapshot
from pricing.words.depth import (
    depth_sentences,
    gap_caption,
    gap_sentence,
    premium_sentences,
    premiums_caption,
    sold_by_year_caption,
    sold_share_sentence,
)
from pricing.words.evidence import index_caption, index_sales_caption, index_sentence
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped, sentence

SALE_RINGS: Final = (
    "Each ring is a sale of the model, against what such a car in that condition sold for when the index "
    "was 100."
)
WHOLE: Final = "the whole market"


def show_page() -> None:
    """Ask which sales, and show how prices moved, what sold, what was asked, and what a better car costs."""
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
        show_move(caches.movers_of(snapshot), where)
        try:
            _show_index(snapshot, caches.price_index_of(snapshot, where, method, period), where)
        except EvidenceError as error:
            st.info(escaped(sentence(str(error))))
        if not where:
            show_movers(caches.movers_of(snapshot))
        _show_depth(caches.depth_of(snapshot, where), snapshot.base_currency)


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
    with st.expander("How the trend is worked out"):
        first, second = st.columns(2)
        with first:
            method = st.selectbox("Method", METHODS, key="method", help=what_is("index"), **BOUND)
        with second:
            period = st.selectbox(
                "One point for each", list(LENGTHS), list(LENGTHS).index("year"), key="period", **BOUND
            )
    return method, period


def _show_index(snapshot: Snapshot, index: PriceIndex, where: caches.Where) -> None:
    st.write(escaped(index_sentence(index)))
    points = sale_points(index, snapshot.sales(), dict(where)) if dict(where).get("model") else None
    line = index_charts.index_line_chart(index, points).properties(height=340)
    rings = "" if points is None else f" {SALE_RINGS}"
    show_chart(line, f"{index_caption(index)}{rings}", "price index")
    sales = index_charts.index_sales_chart(index).properties(height=190)
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


def _show_depth(depth: Depth, currency: str) -> None:
    st.header("How many find a buyer at auction")
    st.write(escaped(sold_share_sentence(depth)))
    if depth.sold_by_year["share"].is_not_null().any():
        show_chart(
            depth_charts.sold_by_year_chart(depth), sold_by_year_caption(depth), "how many find a buyer"
        )
    st.header("Asked, and sold for", help=what_is("asking price"))
    st.write(escaped(gap_sentence(depth)))
    if depth.gap.pairs > 1:
        show_chart(depth_charts.asking_gap_chart(depth), gap_caption(depth), "asking against sold")
    st.header("What the next condition costs", help=what_is("condition band"))
    for told in premium_sentences(depth, currency):
        st.write(escaped(told))
    if depth.band_premiums["per_cent"].is_not_null().any():
        show_chart(
            depth_charts.bands_through_time_chart(depth).properties(height=420),
            premiums_caption(depth),
            "premium of condition bands",
        )
    st.header("How much is known", help=what_is("evidence depth"))
    for told in depth_sentences(depth):
        if told not in (sold_share_sentence(depth), gap_sentence(depth)):
            st.write(escaped(told))
    _show_against(depth)
    show_terms("index", "hammer price", "asking price", "condition band", "reserve", "coverage")


def _show_against(depth: Depth) -> None:
    """Hammer prices against what was expected of the lots."""
    number = st.column_config.NumberColumn
    against = depth.against.filter(pl.col("sales") > 0)
    if against.is_empty():
        return
    st.header("Hammer price against what was expected", help=what_is("hammer price"))
    show_table(
        against.with_columns(
            pl.col("against").str.replace_all("_", " ", literal=True), pl.col("below") * 100
        ),
        "hammer against estimates",
        {
            "against": "Against",
            "sales": number("Sales", format="localized"),
            "median": number("Hammer price over it, middle", format="%.2f"),
            "low": number("95% interval from", format="%.2f"),
            "high": number("to", format="%.2f"),
            "below": number("Sold below it (%)", format="%.0f"),
        },
        height="content",
    )
