"""Comparable sales: the sales most like this car, adjusted to it line by line, and a person's choices."""

from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import people
from dashboards.asking.typed_fields import ask_number
from dashboards.exhibits import show_chart
from dashboards.page_layout import SubjectCar, ask_market_and_car, comparables_index, one_sentence, page
from dashboards.tables import TableColumn, headings, show_table
from dashboards.text import show_metrics, show_terms, write, write_small
from dashboards.url_state import SHARED
from pricing.charts.evidence import comparables_chart
from pricing.decisions.approaches import difference, valued_beside
from pricing.evidence.comparison.choices import ACTIONS, LONGEST_REASON, Choice, keep, kept
from pricing.evidence.comparison.comparables import COUNT, Comparables, find_comparables
from pricing.snapshot import Snapshot
from pricing.words import evidence as evidence_words
from pricing.words.approaches import difference_sentence
from pricing.words.language.glossary import what_is
from pricing.words.language.reader import day_words, number_words, rounded
from pricing.words.sentences import CAUTION, option_words

LONGEST_NAME: Final = 120
"""Characters of the name that choices are kept under."""


@page("Comparable sales", ask_market_and_car)
def show_page(subject: SubjectCar) -> None:
    """Find, adjust, weigh; show the answer, the sales, each sale's lines."""
    snapshot = subject.snapshot
    first, second = st.columns(2)
    count = first.slider(
        "How many sales", 3, 40, COUNT, key="count", help=what_is("comparable sale"), bind="query-params"
    )
    name = second.text_input(
        "Name of this car, to keep your choices under",
        None,
        LONGEST_NAME,
        key="subject",
        placeholder="none kept",
        **SHARED,
    )
    index = comparables_index(snapshot)
    if index is None:
        return
    choices = kept(snapshot.market, name) if name else ()
    with one_sentence("No value can be given: "):
        comparables = find_comparables(index, subject.car, count=int(count), choices=choices)
        _show_answer(comparables)
        records = snapshot.of_model(subject.car.make, subject.car.model)
        valuation = valued_beside(records, snapshot.model, subject.car, comparables)
        apart = difference(valuation, comparables)  # how far the price model is from these sales, and why
        write(None if apart is None else difference_sentence(apart))
        _show_sales(comparables)
        _show_lines(comparables)
        _ask_choice(snapshot, comparables, name or None)


def _show_answer(comparables: Comparables) -> None:
    currency = comparables.currency
    show_metrics(
        (f"{name} ({currency})", number_words(rounded(getattr(comparables, name))), what_is(name))
        for name in ("low", "mid", "high")
        if getattr(comparables, name) is not None
    )
    st.caption(f"All-in prices in {currency} at {day_words(comparables.as_of)}, from these sales alone.")
    first, *rest = evidence_words.reconciliation_sentences(comparables)
    write(first)
    caption = evidence_words.comparables_caption(comparables)
    show_chart(comparables_chart(comparables), caption, "comparable sales")
    write_small(CAUTION)
    show_terms("comparable sale", "adjustment", "weight", "net and in all", "how near")
    with st.expander("How this value was reached"):
        write(*rest)


def _show_sales(comparables: Comparables) -> None:
    currency = comparables.currency
    show_table(
        comparables.table.with_columns(
            pl.col("price", "adjusted_price").round().cast(pl.Int64),
            pl.col("weight") * 100,
            pl.col("condition_band").fill_null("not graded"),
            evidence_words.flags_in_words(pl.col("flags")),
        ),
        "comparables",
        {
            "event_date": "Sold",
            "price": f"Price ({currency}, all-in)",
            "adjusted_price": f"Adjusted ({currency})",
            "weight": TableColumn("Weight (%)", "%.0f"),
            "net_per_cent": TableColumn("Adjusted by, net (%)", "%+.0f"),
            "gross_per_cent": TableColumn("Adjusted by, in all (%)", "%.0f"),
            "match_level": "How near",
            **headings("variant", "year", "condition_band"),
            "flags": "Worth a second look",
            **headings("source", "source_ref", "record_id"),
        },
        every=comparables.table,
    )
    left_out = comparables.left_out.group_by("reason", maintain_order=True).agg(pl.col("sales").sum())
    if left_out.height:
        words = "; ".join(f"{number_words(sales)} {reason}" for reason, sales in left_out.iter_rows())
        write_small(f"Left out: {words}.")


def _labels(comparables: Comparables) -> dict[str, str]:
    return {
        row["record_id"]: f"{day_words(row['event_date'])}, {number_words(row['price'])}, "
        f"{row['source']} {row['source_ref']}"
        for row in comparables.table.iter_rows(named=True)
    }


def _show_lines(comparables: Comparables) -> None:
    st.header("How a sale was adjusted", help=what_is("adjustment"))
    labels = _labels(comparables)
    record = st.selectbox("Sale", list(labels), format_func=labels.__getitem__, key="line_of")
    show_table(
        evidence_words.lines_in_words(comparables, record).with_columns(
            pl.col("money", "price_after").cast(pl.Float64)
        ),
        "lines of adjustment",
        {
            "line": "Line",
            "comparable": "Sale",
            "subject": "This car",
            "per_cent": TableColumn("Change (%)", "%+.1f"),
            "money": TableColumn(f"Amount ({comparables.currency})", "%+.0f"),
            "price_after": f"Price after ({comparables.currency})",
            "source": "Where it is from",
        },
        every=comparables.lines,
        height="content",
    )


def _ask_choice(snapshot: Snapshot, comparables: Comparables, name: str | None) -> None:
    """A person's addition, omission or adjustment, with its reason; written down, never erased. ``name``:
    what the car is called, if anything."""
    st.header("Your own judgement")
    if comparables.choices:
        show_table(
            pl.DataFrame([vars(choice) for choice in comparables.choices]),
            "choices",
            {
                **headings("record_id"),
                "action": "What was done",
                "reason": "Why",
                "line": "Line",
                "per_cent": TableColumn("By (%)", "%+.1f"),
            },
        )
    if not people.may("appraise"):
        st.caption("To add, drop or adjust sales, ask whoever manages this market for the role appraise.")
        return
    if name is None:
        st.caption("To add, drop, weigh or adjust a sale, name the car above: choices are kept under it.")
        return
    action = st.segmented_control("Choice", ACTIONS, default="drop", required=True, key="choice_action")
    labels = _labels(comparables)
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
            lines = comparables.lines["line"].unique(maintain_order=True).to_list()
            extra["line"] = st.selectbox("Line", lines, format_func=option_words)
            extra["per_cent"] = ask_number(
                "Adjust it by (%)", "choice_size", "adjustment in per cent", -95, 1000, 0
            )
        reason = st.text_area("Why, in writing", max_chars=LONGEST_REASON)
        pressed = st.form_submit_button("Keep this choice", type="primary")
        if pressed and extra.get("per_cent", 0.0) is not None:
            keep(snapshot.market, name, [Choice(record.strip(), str(action), reason, **extra)])
            st.rerun()
