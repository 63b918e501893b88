"""The evidence of an appraisal as it stands beside the fields that rest on it: ranges, index, earlier sales
of the car, what each basis of value means; the grid of comparables, and choices on them, kept in the record
and its frozen evidence."""

from collections.abc import Callable
from typing import Any, Final

import altair as alt
import polars as pl
import streamlit as st

from dashboards.asking.typed_fields import ask_number
from dashboards.exhibits import show_chart
from dashboards.tables import AS_IT_IS, TableColumn, headings, show_table
from dashboards.text import write, write_small
from pricing.appraisal.bases import BASES, basis_of
from pricing.appraisal.consistency import reconciled
from pricing.appraisal.facts import Facts
from pricing.appraisal.grid import Decision, found_sales, with_choices
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry
from pricing.charts.evidence import index_line_chart
from pricing.evidence.comparison.choices import ACTIONS, LONGEST_REASON
from pricing.reports.figure_words import level_words, span_words
from pricing.reports.formats.pictures import ranges_chart
from pricing.reports.own_sales import own_sales_sentence
from pricing.snapshot import Snapshot
from pricing.words.evidence import index_sentence
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import day_words, number_words, rounded
from pricing.words.sentences import option_words

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
        caption = f"Ranges ({where}), with the opinion where one is given."
        show_chart(ranges_chart(facts, WORDS).properties(height=alt.Step(40)), caption, "ranges_beside")
    if facts.grid.height:
        into = facts.evidence.conversion.from_base
        adjusted = [rounded(into(price)) for price in facts.grid["adjusted_price"]]
        show_table(
            facts.grid.with_columns(
                pl.Series("adjusted", adjusted), pl.col("weight") * 100, pl.col("event_date").cast(pl.Date)
            ),
            "grid_beside",
            {
                "number": TableColumn("No.", "%d"),
                "adjusted": f"Adjusted ({facts.currency})",
                "weight": TableColumn("Weight (%)", "%.0f"),
                "gross_per_cent": TableColumn("Gross (%)", "%.0f"),
                "condition_band": "Condition",
                "event_date": "Sold",
            },
        )
    show_own_sales(facts, "own_sales_beside")
    index = facts.evidence.index
    if index is not None:
        show_chart(index_line_chart(index), index_sentence(index), "index_beside")


def show_own_sales(facts: Facts, name: str) -> None:
    """Whether the records hold earlier sales or offers of the car, and which."""
    write(own_sales_sentence(facts, WORDS))
    own_sales = facts.evidence.own_sales
    if own_sales is not None and own_sales.height:
        show_table(
            own_sales,
            name,
            {
                "event_date": "Day",
                "outcome": "What came of it",
                "channel": "Where",
                "amount": "As recorded",
                "currency": "In",
                "price_basis": "Basis",
                "price": f"All-in ({facts.base_currency})",
                **headings("source", "source_ref"),
            },
            every=own_sales,
        )


def show_bases(chosen: str) -> None:
    """What the chosen basis of value means and where that is from, and the others to choose among."""
    basis = basis_of(chosen)
    if basis is not None:
        write_small(f"{basis.name.capitalize()}: {basis.means}. Source: {basis.source}.")
    with st.expander("What each basis of value means, and where that is from"):
        for each in BASES:
            st.markdown(
                f"**{escaped(each.name)}**: {escaped(each.means)}. :small[{escaped(each.source)}; premises: "
                f"{escaped(', '.join(each.premises))}; levels: {escaped(', '.join(each.levels))}]"
            )


def side_by_side(facts: Facts) -> pl.DataFrame:
    """The grid as a table: a row a line, the subject first, then each comparable by its number."""
    subject = facts.record.subject
    rows = list(facts.lines.iter_rows(named=True))
    amounts = {(row["number"], row["line"]): row["money"] for row in rows}
    own = {row["line"]: row["subject"] or "" for row in rows}
    cells: list[tuple[str, str, Callable[[dict[str, Any]], str]]] = [
        ("Car", " ".join(str(part) for part in (subject.year, subject.model, subject.variant) if part),
         lambda row: f"{row['year']} {row['model']} {row['variant'] or ''}".strip()),
        ("Sold", "", lambda row: f"{row['event_date']:%Y-%m-%d}"),
        ("Condition", facts.evidence.valuation.car["condition_band"] or "not graded",
         lambda row: row["condition_band"] or "not graded"),
        (f"Price ({facts.base_currency})", "", lambda row: number_words(row["price"])),
        *((option_words(line).capitalize(), own[line].removesuffix(".0"),
           lambda row, line=line: f"{amounts.get((row['number'], line)) or 0:+,.0f}")
          for line in _adjusted_lines(facts)),
        (f"Adjusted ({facts.base_currency})", "", lambda row: number_words(row["adjusted_price"])),
        ("Gross", "", lambda row: f"{row['gross_per_cent']:.0f}%"),
        ("Weight", "", lambda row: f"{row['weight']:.0%}"),
    ]  # fmt: skip
    names, texts, tells = zip(*cells, strict=True)
    each = facts.grid.iter_rows(named=True)
    columns = {f"no_{row['number']}": [tell(row) for tell in tells] for row in each}
    return pl.DataFrame({"line": names, "subject": texts, **columns})


def _adjusted_lines(facts: Facts) -> list[str]:
    """The lines of adjustment that depend on the car, in the order of the steps."""
    lines = facts.lines.filter(pl.col("step") >= 2).sort("step", maintain_order=True)["line"]
    return lines.unique(maintain_order=True).to_list()


def show_grid(facts: Facts) -> None:
    """The comparables beside the subject, and what stands behind each line."""
    if facts.grid.is_empty():
        st.write("No comparable sales.")
        return
    table = side_by_side(facts)
    numbers = {name: f"No. {name[3:]}" for name in table.columns[2:]}
    show_table(table, "grid", {"line": "Line", "subject": "Subject", **numbers})
    comparables = facts.evidence.comparables
    if comparables is not None and comparables.support is not None:
        show_table(
            facts.lines.join(
                comparables.support, on=["record_id", "line"], how="inner", maintain_order="left"
            ).with_columns(pl.col("line").str.replace_all("_", " ", literal=True)),
            "support",
            {
                "number": TableColumn("No.", AS_IT_IS),
                "line": "Line",
                "per_cent": TableColumn("Effect (%)", "%+.1f"),
                "low_per_cent": TableColumn("From (%)", "%+.1f"),
                "high_per_cent": TableColumn("To (%)", "%+.1f"),
                "sales": TableColumn("Sales behind it", AS_IT_IS),
                "pairs": TableColumn("Matched pairs", AS_IT_IS),
                "pair_per_cent": TableColumn("Pairs' median (%)", "%+.1f"),
            },
        )


def ask_choice(snapshot: Snapshot, entry: Entry, facts: Facts) -> Appraisal | None:
    """A choice on the grid; the record with it once it is to be kept."""
    at = entry.record.assignment.effective_date
    write_small(*(f"{choice.action} {choice.record_id}: {choice.reason}" for choice in entry.record.choices))
    action = st.segmented_control("Choice", ACTIONS, default="drop", required=True, key="grid_action")
    labels = {
        str(row["number"]): f"No. {row['number']}: {day_words(row['event_date'])}, "
        f"{number_words(row['price'])}"
        for row in facts.grid.iter_rows(named=True)
    }
    if action == "add" and at is not None:
        words = st.text_input(
            "Words of the sale to add: make, model, source, day", max_chars=200, key="grid_words"
        )
        matches = found_sales(snapshot.sales(as_of=at), words, at).iter_rows(named=True)
        labels = {
            row["record_id"]: f"{day_words(row['event_date'])}: {row['year']} {row['model']} "
            f"{number_words(row['price'])} {row['source']} {row['source_ref']}"
            for row in matches
        }
    with st.form("grid_choice", border=False):
        sale = st.selectbox("Sale", list(labels), format_func=lambda name: labels.get(name, name))
        line, size = None, None
        if action == "adjust":
            line = st.selectbox("Line", _adjusted_lines(facts), format_func=option_words)
        if action in ("adjust", "weigh"):
            label = "Per cent" if action == "adjust" else "Per cent of its weight"
            begins = 100 if action == "weigh" else 0
            size = ask_number(label, f"grid_{action}", "per cent", -95, 1000, begins)
        reason = st.text_area("Reason, which stands in the document", max_chars=LONGEST_REASON)
        pressed = st.form_submit_button("Keep this choice and gather anew", type="primary")
    if not pressed or sale is None or (size is None and action in ("adjust", "weigh")):
        return None
    return with_choices(entry, [Decision(str(action), sale, line, size)], reason)
