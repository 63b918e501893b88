"""Market: how prices moved at constant quality, what sold, what was asked, and what a better car costs."""

from typing import Final

import polars as pl
import streamlit as st

from dashboards import caches, jobs
from dashboards.asking.car_form import ask_name
from dashboards.exhibits import show_chart
from dashboards.page_layout import AT_ONCE, ask_market, page
from dashboards.tables import TableColumn, headings, show_table
from dashboards.text import show_terms, show_verdict, write
from dashboards.url_state import BOUND
from pricing.charts import depth as depth_charts
from pricing.charts import evidence as index_charts
from pricing.errors import EvidenceError
from pricing.evidence.depth import Depth
from pricing.evidence.indices.index import METHODS, PriceIndex, sale_points
from pricing.evidence.indices.periods import LENGTHS
from pricing.model.price_model import PriceModel
from pricing.snapshot import Snapshot
from pricing.words import depth as depth_words
from pricing.words.evidence import index_caption, index_sales_caption, index_sentence
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped, sentence

SALE_RINGS: Final = (
    "Each ring is a sale of the model, against what such a car in that condition sold for when the index "
    "was 100."
)
WHOLE: Final = "the whole market"


@page("Market", ask_market)
def show_page(market: tuple[Snapshot, PriceModel]) -> None:
    """Ask which sales, and show how prices moved, what sold, what was asked, and what a better car costs."""
    snapshot, _ = market
    where = _ask_scope(snapshot)
    with st.expander("How the trend is worked out"):
        first, second = st.columns(2)
        method = first.selectbox("Method", METHODS, key="method", help=what_is("index"), **BOUND)
        lengths = list(LENGTHS)
        period = second.selectbox("One point for each", lengths, lengths.index("year"), key="period", **BOUND)

    key = f"index {snapshot.path} {snapshot.state.records} {where} {method} {period}"
    if caches.sales_of(snapshot, where) > AT_ONCE:
        job = jobs.once(key, "Working out the index", lambda tell: _gather(snapshot, where, method, period))
        if not jobs.show(job):
            return
    movers = caches.movers_of(snapshot)
    chosen = movers.filter(**dict(where)) if where else movers
    if not chosen.is_empty():
        one = "model" in dict(where)
        show_verdict(
            depth_words.mover_sentence(chosen.row(0, named=True))
            if one
            else depth_words.movers_sentence(chosen)
        )
    try:
        _show_index(snapshot, caches.price_index_of(snapshot, where, method, period), where)
    except EvidenceError as error:
        st.info(escaped(sentence(str(error))))
    if not where:
        _show_movers(movers)
    _show_depth(caches.depth_of(snapshot, where), snapshot.base_currency)


def _ask_scope(snapshot: Snapshot) -> caches.Where:
    names = caches.offered_names(snapshot, st.session_state.get("make"), st.session_state.get("model"))
    first, second = st.columns(2)
    with first:
        make = ask_name("make", names, placeholder=WHOLE)
    with second:
        model = ask_name("model", names, {"make": make}, placeholder="all its models")
    return tuple((name, value) for name, value in (("make", make), ("model", model)) if value is not None)


def _gather(snapshot: Snapshot, where: caches.Where, method: str, period: str) -> None:
    caches.price_index_of(snapshot, where, method, period)
    caches.depth_of(snapshot, where)


def _show_movers(movers: pl.DataFrame) -> None:
    """Every model with its move, searchable, each with the sales behind it."""
    st.header("What rose and what fell in a year")
    st.caption(
        "Like sales only: each condition of a model against itself a year before. A model with few sales is "
        "listed without a figure."
    )
    wanted = st.text_input("Find a make or model", key="mover", type="search").casefold().strip()
    name = pl.col("make") + " " + pl.col("model")
    matches = movers.filter(name.str.to_lowercase().str.contains(wanted, literal=True)) if wanted else movers
    if matches.is_empty():
        st.info(escaped(f"Nothing like '{wanted}' is on record. Try part of the name."))
        return
    drawn = depth_charts.drawn_movers(matches)
    if drawn.height:
        show_chart(
            depth_charts.movers_chart(matches),
            depth_words.movers_caption(matches, drawn.height),
            "rises and falls",
        )
    show_table(
        matches.with_columns(model=name),
        "what rose and fell",
        {
            "model": "Model",
            "per_cent": TableColumn("Change in a year (%)", "%+.0f"),
            "low": TableColumn("90% interval from", "%+.0f"),
            "high": TableColumn("to", "%+.0f"),
            "told": "What that says",
            "sales": "Like sales, last year",
            "sales_before": "The year before",
            "on_record": "All sales on record",
        },
    )


def _show_index(snapshot: Snapshot, index: PriceIndex, where: caches.Where) -> None:
    write(index_sentence(index))
    points = sale_points(index, snapshot.sales(), dict(where)) if dict(where).get("model") else None
    line = index_charts.index_line_chart(index, points).properties(height=340)
    rings = "" if points is None else f" {SALE_RINGS}"
    show_chart(line, f"{index_caption(index)}{rings}", "price index")
    sales = index_charts.index_sales_chart(index).properties(height=190)
    show_chart(sales, index_sales_caption(index), "sales behind the index")
    with st.expander("The index in figures"):
        show_table(
            index.frame,
            "index in figures",
            {
                "period": "Period",
                "index": TableColumn(f"Index, {index.base} = 100", "%.1f"),
                "low": TableColumn(f"{index.coverage:.0%} interval from", "%.1f"),
                "high": TableColumn("to", "%.1f"),
                **headings("sales"),
                "note": "Why no point",
            },
            every=index.frame,
        )


def _show_depth(depth: Depth, currency: str) -> None:
    st.header("How many find a buyer at auction")
    write(depth_words.sold_share_sentence(depth))
    if depth.sold_by_year["share"].is_not_null().any():
        chart = depth_charts.sold_by_year_chart(depth)
        show_chart(chart, depth_words.sold_by_year_caption(depth), "how many find a buyer")
    st.header("Asked, and sold for", help=what_is("asking price"))
    write(depth_words.gap_sentence(depth))
    if depth.gap.pairs > 1:
        show_chart(
            depth_charts.asking_gap_chart(depth), depth_words.gap_caption(depth), "asking against sold"
        )
    st.header("What the next condition costs", help=what_is("condition band"))
    write(*depth_words.premium_sentences(depth, currency))
    if depth.band_premiums["per_cent"].is_not_null().any():
        chart = depth_charts.bands_through_time_chart(depth).properties(height=420)
        show_chart(chart, depth_words.premiums_caption(depth), "premium of condition bands")
    st.header("How much is known", help=what_is("evidence depth"))
    before = (depth_words.sold_share_sentence(depth), depth_words.gap_sentence(depth))
    write(*(known for known in depth_words.depth_sentences(depth) if known not in before))
    _show_against(depth)
    show_terms("index", "hammer price", "asking price", "condition band", "reserve", "coverage")


def _show_against(depth: Depth) -> None:
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
            **headings("sales"),
            "median": TableColumn("Hammer price over it, middle", "%.2f"),
            "low": TableColumn("95% interval from", "%.2f"),
            "high": TableColumn("to", "%.2f"),
            "below": TableColumn("Sold below it (%)", "%.0f"),
        },
        height="content",
    )
