"""Comparable sales: the sales most like this car, adjusted to it line by line, and a person's choices."""

from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import page_layout, people
from dashboards.asking.typed_fields import ask_number
from dashboards.exhibits import day_column, show_chart, show_table
from dashboards.terms import show_terms
from pricing.car import Car
from pricing.charts import evidence as market_charts
from pricing.decisions.approaches import difference, valued_beside
from pricing.evidence.comparison.choices import ACTIONS, LONGEST_REASON, Choice, keep, kept
from pricing.evidence.comparison.comparables import COUNT, Comparables, find_comparables
from pricing.snapshot import Snapshot
from pricing.words.approaches import difference_sentence
from pricing.words.evidence import (
    comparables_caption,
    flags_in_words,
    lines_in_words,
    reconciliation_sentences,
)
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import day_words, number_words, rounded
from pricing.words.sentences import CAUTION, option_words

LONGEST_NAME: Final = 120
"""Characters of the name that choices are kept under."""


def show_page() -> None:
    """Find, adjust, weigh; show the answer, the sales, each sale's lines."""
    st.title("Comparable sales")
    with page_layout.one_sentence():
        asked = page_layout.ask_market_and_car()
        if asked is None:
            return
        snapshot = asked.snapshot
        count, subject = _ask_how()
        indexed = page_layout.comparables_index(snapshot)
        if indexed is None:
            return
        choices = kept(snapshot.market, subject) if subject else ()
        with page_layout.one_sentence("No value can be given: "):
            found = find_comparables(indexed, asked.car, count=count, choices=choices)
            _show_answer(found)
            _show_difference(snapshot, asked.car, found)
            _show_sales(found)
            _show_lines(found)
            _ask_choice(snapshot, found, subject)


def _ask_how() -> tuple[int, str | None]:
    first, second = st.columns(2)
    with first:
        count = st.slider(
            "How many sales", 3, 40, COUNT, key="count", help=what_is("comparable sale"), bind="query-params"
        )
    with second:
        subject = st.text_input(
            "Name of this car, to keep your choices under",
            None,
            LONGEST_NAME,
            key="subject",
            placeholder="none kept",
            persist_state="session",
        )
    return int(count), subject or None


def _show_answer(found: Comparables) -> None:
    with st.container(horizontal=True):
        for name in ("low", "mid", "high"):
            if getattr(found, name) is None:
                continue
            amount = rounded(getattr(found, name))
            st.metric(f"{name} ({found.currency})", number_words(amount), help=what_is(name), width="content")
    st.caption(f"All-in prices in {found.currency} at {day_words(found.as_of)}, from these sales alone.")
    first, *rest = reconciliation_sentences(found)
    st.write(escaped(first))
    show_chart(market_charts.comparables_chart(found), comparables_caption(found), "comparable sales")
    st.caption(escaped(CAUTION))
    show_terms("comparable sale", "adjustment", "weight", "net and in all", "how near")
    with st.expander("How this value was reached"):
        for sentence in rest:
            st.write(escaped(sentence))


def _show_difference(snapshot: Snapshot, car: Car, found: Comparables) -> None:
    """How far the price model is from these sales, and why."""
    records = snapshot.of_model(car.make, car.model)
    apart = difference(valued_beside(records, snapshot.model, car, found), found)
    if apart is not None:
        st.write(escaped(difference_sentence(apart)))


def _show_sales(found: Comparables) -> None:
    """The sales, and what was left out."""
    money = ("price", "adjusted_price")
    shown = found.table.select(
        "event_date",
        *(pl.col(name).round().cast(pl.Int64) for name in money),
        pl.col("weight") * 100,
        "net_per_cent",
        "gross_per_cent",
        "match_level",
        "variant",
        "year",
        pl.col("condition_band").fill_null("not graded"),
        flags_in_words(pl.col("flags")),
        "source",
        "source_ref",
        "record_id",
    )
    show_table(
        shown,
        "comparables",
        {
            "event_date": day_column("Sold"),
            "price": st.column_config.NumberColumn(f"Price ({found.currency}, all-in)", format="localized"),
            "adjusted_price": st.column_config.NumberColumn(
                f"Adjusted ({found.currency})", format="localized"
            ),
            "weight": st.column_config.NumberColumn("Weight (%)", format="%.0f"),
            "net_per_cent": st.column_config.NumberColumn("Adjusted by, net (%)", format="%+.0f"),
            "gross_per_cent": st.column_config.NumberColumn("Adjusted by, in all (%)", format="%.0f"),
            "match_level": "How near",
            "variant": "Variant",
            "year": st.column_config.NumberColumn("Year", format="%d"),
            "condition_band": "Condition band",
            "flags": "Worth a second look",
            "source": "Source",
            "source_ref": "Reference",
            "record_id": "Record",
        },
        every=found.table,
    )
    left = found.left_out.group_by("reason", maintain_order=True).agg(pl.col("sales").sum())
    if left.height:
        words = "; ".join(f"{number_words(sales)} {reason}" for reason, sales in left.iter_rows())
        st.caption(escaped(f"Left out: {words}."))


def _labels(found: Comparables) -> dict[str, str]:
    """Each sale by its record, as a person knows it."""
    return {
        row["record_id"]: f"{day_words(row['event_date'])}, {number_words(row['price'])}, "
        f"{row['source']} {row['source_ref']}"
        for row in found.table.iter_rows(named=True)
    }


def _show_lines(found: Comparables) -> None:
    """How one sale was brought to the subject, line by line."""
    st.header("How a sale was adjusted", help=what_is("adjustment"))
    labels = _labels(found)
    record = st.selectbox("Sale", list(labels), format_func=labels.__getitem__, key="line_of")
    show_table(
        lines_in_words(found, record).select(
            "line",
            "comparable",
            "subject",
            "per_cent",
            pl.col("money").cast(pl.Float64),
            pl.col("price_after").cast(pl.Float64),
            "source",
        ),
        "lines of adjustment",
        {
            "line": "Line",
            "comparable": "Sale",
            "subject": "This car",
            "per_cent": st.column_config.NumberColumn("Change (%)", format="%+.1f"),
            "money": st.column_config.NumberColumn(f"Amount ({found.currency})", format="%+.0f"),
            "price_after": st.column_config.NumberColumn(
                f"Price after ({found.currency})", format="localized"
            ),
            "source": "Where it is from",
        },
        every=found.lines,
        height="content",
    )


def _ask_choice(snapshot: Snapshot, found: Comparables, subject: str | None) -> None:
    """A person's addition, omission or adjustment, with its reason; written down, never erased."""
    st.header("Your own judgement")
    if found.choices:
        made = pl.DataFrame([vars(choice) for choice in found.choices])
        show_table(
            made,
            "choices",
            {
                "record_id": "Record",
                "action": "What was done",
                "line": "Line",
                "per_cent": st.column_config.NumberColumn("By (%)", format="%+.1f"),
                "reason": "Why",
            },  # fmt: skip
        )
    if not people.may("appraise"):
        st.caption("To add, drop or adjust sales, ask whoever manages this market for the role appraise.")
        return
    if subject is None:
        st.caption("To add, drop, weigh or adjust a sale, name the car above: choices are kept under it.")
        return
    action = st.segmented_control("Choice", ACTIONS, default="drop", required=True, key="choice_action")
    labels = _labels(found)
    with st.form("choice", border=False):
        if action == "add":
            record = st.text_input("Record to add", max_chars=200)
        else:
            record = st.selectbox("Sale to " + str(action), list(labels), format_func=labels.__getitem__)
        extra: dict[str, Any] = {}
        if action == "weigh":
            extra["per_cent"] = ask_number(
                "Per cent of its weight", "choice_weight", "weight in per cent", 1, 1000, 50
            )
        if action == "adjust":
            names = found.lines["line"].unique(maintain_order=True).to_list()
            extra["line"] = st.selectbox("Line", names, format_func=option_words)
            extra["per_cent"] = ask_number(
                "Adjust it by (%)", "choice_size", "adjustment in per cent", -95, 1000, 0
            )
        reason = st.text_area("Why, in writing", max_chars=LONGEST_REASON)
        pressed = st.form_submit_button("Keep this choice", type="primary")
        if pressed and extra.get("per_cent", 0.0) is not None:
            keep(snapshot.market, subject, [Choice(record.strip(), str(action), reason, **extra)])
            st.rerun()
