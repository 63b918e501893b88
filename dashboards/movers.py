"""What rose and what fell in a year, on the page of the market."""

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.exhibits import show_chart, show_table
from pricing.charts.depth import drawn_movers, movers_chart
from pricing.words.depth import mover_sentence, movers_caption, movers_sentence
from pricing.words.language.plain_text import escaped


def show_move(found: pl.DataFrame, where: caches.Where) -> None:
    """How the chosen model moved in a year, or how many of the chosen models did."""
    chosen = found.filter(**dict(where)) if where else found
    if chosen.is_empty():
        return
    told = mover_sentence(chosen.row(0, named=True)) if "model" in dict(where) else movers_sentence(chosen)
    with st.container(key="verdict"):
        st.markdown(escaped(told))


def show_movers(found: pl.DataFrame) -> None:
    """Every model with its move, searchable, each with the sales behind it."""
    st.header("What rose and what fell in a year")
    st.caption(
        "Like sales only: each condition of a model against itself a year before. A model with few sales is "
        "listed without a figure."
    )
    wanted = st.text_input("Find a make or model", key="mover", type="search").casefold().strip()
    named = (pl.col("make") + " " + pl.col("model")).str.to_lowercase()
    shown = found.filter(named.str.contains(wanted, literal=True)) if wanted else found
    if shown.is_empty():
        st.info(escaped(f"Nothing like '{wanted}' is on record. Try part of the name."))
        return
    drawn = drawn_movers(shown)
    if drawn.height:
        show_chart(movers_chart(shown), movers_caption(shown, drawn.height), "rises and falls")
    number = st.column_config.NumberColumn
    show_table(
        shown.with_columns(model=pl.col("make") + " " + pl.col("model")).select(
            "model", "per_cent", "low", "high", "told", "sales", "sales_before", "on_record"
        ),
        "what rose and fell",
        {
            "model": "Model",
            "per_cent": number("Change in a year (%)", format="%+.0f"),
            "low": number("90% interval from", format="%+.0f"),
            "high": number("to", format="%+.0f"),
            "told": "What that says",
            "sales": number("Like sales, last year", format="localized"),
            "sales_before": number("The year before", format="localized"),
            "on_record": number("All sales on record", format="localized"),
        },
    )
