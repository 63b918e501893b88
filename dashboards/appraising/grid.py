"""The grid of an appraisal on its page: the comparables beside the subject, and choices on them, kept in the
record and its frozen evidence."""

from collections.abc import Callable
from typing import Any

import polars as pl
import streamlit as st

from dashboards.asking.typed_fields import ask_number
from dashboards.exhibits import show_table
from pricing.appraisal.facts import Facts
from pricing.appraisal.grid import Decision, found_sales, with_choices
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry
from pricing.evidence.comparison.choices import ACTIONS, LONGEST_REASON
from pricing.snapshot import Snapshot
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import day_words, number_words
from pricing.words.sentences import option_words


def side_by_side(facts: Facts) -> pl.DataFrame:
    """The grid as a table: a row a line, the subject first, then each comparable by its number."""
    subject = facts.record.subject
    named = [("Car", lambda row: f"{row['year']} {row['model']} {row['variant'] or ''}".strip())]
    amounts = {(row["number"], row["line"]): row["money"] for row in facts.lines.iter_rows(named=True)}
    own = {row["line"]: row["subject"] or "" for row in facts.lines.iter_rows(named=True)}
    lines = facts.lines.filter(pl.col("step") >= 2).sort("step")["line"].unique(maintain_order=True).to_list()
    cells: list[tuple[str, str, Callable[[dict[str, Any]], str]]] = [
        ("Car", " ".join(str(part) for part in (subject.year, subject.model, subject.variant) if part),
         named[0][1]),
        ("Sold", "", lambda row: f"{row['event_date']:%Y-%m-%d}"),
        ("Condition", facts.evidence.valuation.car["condition_band"] or "not graded",
         lambda row: row["condition_band"] or "not graded"),
        (f"Price ({facts.base_currency})", "", lambda row: number_words(row["price"])),
        *((option_words(line).capitalize(), own[line].removesuffix(".0"),
           lambda row, line=line: f"{amounts.get((row['number'], line)) or 0:+,.0f}") for line in lines),
        (f"Adjusted ({facts.base_currency})", "", lambda row: number_words(row["adjusted_price"])),
        ("Gross", "", lambda row: f"{row['gross_per_cent']:.0f}%"),
        ("Weight", "", lambda row: f"{row['weight']:.0%}"),
    ]  # fmt: skip
    each = list(facts.grid.iter_rows(named=True))
    return pl.DataFrame(
        {
            "line": [name for name, _, _ in cells],
            "subject": [text for _, text, _ in cells],
            **{f"no_{row['number']}": [tell(row) for _, _, tell in cells] for row in each},
        }
    )


def show_grid(facts: Facts) -> None:
    """The comparables beside the subject, and what stands behind each line."""
    if facts.grid.is_empty():
        st.write("No comparable sales.")
        return
    table = side_by_side(facts)
    shown = {"line": "Line", "subject": "Subject"}
    show_table(table, "grid", shown | {name: f"No. {name[3:]}" for name in table.columns[2:]})
    found = facts.evidence.comparables
    if found is not None and found.support is not None:
        told = facts.lines.join(found.support, on=["record_id", "line"], how="inner", maintain_order="left")
        show_table(
            told.select("number", pl.col("line").str.replace_all("_", " ", literal=True), "per_cent",
                        "low_per_cent", "high_per_cent", "sales", "pairs", "pair_per_cent"),
            "support",
            {
                "number": "No.", "line": "Line",
                **{
                    name: st.column_config.NumberColumn(label, format="%+.1f")
                    for name, label in (("per_cent", "Effect (%)"), ("low_per_cent", "From (%)"),
                                        ("high_per_cent", "To (%)"), ("pair_per_cent", "Pairs' median (%)"))
                },
                "sales": "Sales behind it", "pairs": "Matched pairs",
            },
        )  # fmt: skip


def ask_choice(snapshot: Snapshot, entry: Entry, facts: Facts) -> Appraisal | None:
    """A choice on the grid; the record with it once it is to be kept."""
    at = entry.record.assignment.effective_date
    for choice in entry.record.choices:
        st.caption(escaped(f"{choice.action} {choice.record_id}: {choice.reason}"))
    action = st.segmented_control("Choice", ACTIONS, default="drop", required=True, key="grid_action")
    numbers = [str(number) for number in facts.grid["number"]] if facts.grid.height else []
    labels = {
        str(row["number"]): f"No. {row['number']}: {day_words(row['event_date'])}, "
        f"{number_words(row['price'])}"
        for row in facts.grid.iter_rows(named=True)
    }
    if action == "add" and at is not None:
        words = st.text_input(
            "Words of the sale to add: make, model, source, day", max_chars=200, key="grid_words"
        )
        found = found_sales(snapshot.sales(as_of=at), words, at)
        labels = {
            row[
                "record_id"
            ]: f"{day_words(row['event_date'])}: {row['year']} {row['model']} {number_words(row['price'])} "
            f"{row['source']} {row['source_ref']}"
            for row in found.iter_rows(named=True)
        }
        numbers = list(labels)
    with st.form("grid_choice", border=False):
        which = st.selectbox("Sale", numbers, format_func=lambda name: labels.get(name, name))
        line, size = None, None
        if action == "adjust":
            lines = facts.lines.filter(pl.col("step") >= 2)["line"].unique(maintain_order=True).to_list()
            line = st.selectbox("Line", lines, format_func=option_words)
        if action in ("adjust", "weigh"):
            label = "Per cent" if action == "adjust" else "Per cent of its weight"
            begins = 100 if action == "weigh" else 0
            size = ask_number(label, f"grid_{action}", "per cent", -95, 1000, begins)
        reason = st.text_area("Reason, which stands in the document", max_chars=LONGEST_REASON)
        pressed = st.form_submit_button("Keep this choice and gather anew", type="primary")
    if not pressed or which is None or (size is None and action in ("adjust", "weigh")):
        return None
    return with_choices(entry, [Decision(str(action), which, line, size)], reason)
