"""The evidence of an appraisal as it stands beside the fields that rest on it: ranges, grid, index, earlier
sales of the car, and what each basis of value means."""

from typing import Final

import altair as alt
import polars as pl
import streamlit as st

from dashboards.exhibits import day_column, show_chart, show_table
from pricing.appraisal.bases import BASES, basis_of
from pricing.appraisal.consistency import reconciled
from pricing.appraisal.facts import Facts
from pricing.charts.evidence import index_line_chart
from pricing.reports.figure_words import level_words, span_words
from pricing.reports.formats.pictures import ranges_chart
from pricing.reports.own_sales import own_sales_sentence
from pricing.words.evidence import index_sentence
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import rounded

WORDS: Final = LocaleWords.of("en_GB")
"""How the page writes amounts and days."""


def show_beside_opinion(facts: Facts) -> None:
    """What an opinion rests on, small enough to stand beside its field."""
    where = f"{level_words(facts, WORDS)}, {facts.currency}"
    for title, name in (("Price model", "model"), ("Comparable sales", "comparables")):
        st.markdown(f"**{title}** ({escaped(where)}): {escaped(span_words(facts, WORDS, name))}")
    middle = reconciled(facts.record, facts.evidence)
    if middle is not None:
        st.markdown(f"**Reconciled figure**: {escaped(WORDS.about(middle, facts.currency))}")
    if facts.model is not None or facts.comparables is not None:
        told = f"Ranges ({where}), with the opinion where one is given."
        show_chart(ranges_chart(facts, WORDS).properties(height=alt.Step(40)), told, "ranges_beside")
    if facts.grid.height:
        into = facts.evidence.conversion.from_base
        adjusted = [rounded(into(price)) for price in facts.grid["adjusted_price"]]
        show_table(
            facts.grid.select(
                "number", pl.Series("adjusted", adjusted), pl.col("weight") * 100, "gross_per_cent",
                "condition_band", pl.col("event_date").cast(pl.Date),
            ),
            "grid_beside",
            {
                "number": st.column_config.NumberColumn("No.", format="%d"),
                "adjusted": st.column_config.NumberColumn(f"Adjusted ({facts.currency})", format="localized"),
                "weight": st.column_config.NumberColumn("Weight (%)", format="%.0f"),
                "gross_per_cent": st.column_config.NumberColumn("Gross (%)", format="%.0f"),
                "condition_band": "Condition", "event_date": day_column("Sold"),
            },
        )  # fmt: skip
    show_own_sales(facts, "own_sales_beside")
    index = facts.evidence.index
    if index is not None:
        show_chart(index_line_chart(index), index_sentence(index), "index_beside")


def show_own_sales(facts: Facts, name: str) -> None:
    """Whether the records hold earlier sales or offers of the car, and which."""
    st.write(escaped(own_sales_sentence(facts, WORDS)))
    found = facts.evidence.own_sales
    if found is not None and found.height:
        show_table(
            found.select("event_date", "outcome", "channel", "amount", "currency", "price_basis", "price",
                         "source", "source_ref"),
            name,
            {
                "event_date": day_column("Day"), "outcome": "What came of it",
                "channel": "Where",
                "amount": st.column_config.NumberColumn("As recorded", format="localized"),
                "currency": "In", "price_basis": "Basis",
                "price": st.column_config.NumberColumn(f"All-in ({facts.base_currency})", format="localized"),
                "source": "Source", "source_ref": "Reference",
            },
            every=found,
        )  # fmt: skip


def show_bases(chosen: str) -> None:
    """What the chosen basis of value means and where that is from, and the others to choose among."""
    basis = basis_of(chosen)
    if basis is not None:
        st.caption(escaped(f"{basis.name.capitalize()}: {basis.means}. Source: {basis.source}."))
    with st.expander("What each basis of value means, and where that is from"):
        for each in BASES:
            st.markdown(
                f"**{escaped(each.name)}**: {escaped(each.means)}. :small[{escaped(each.source)}; premises: "
                f"{escaped(', '.join(each.premises))}; levels: {escaped(', '.join(each.levels))}]"
            )
