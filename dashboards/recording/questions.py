"""What a person is asked about records: rejected rows, names, duplicates, odd records, and what was done."""

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, people
from dashboards.downloads import offer_file
from dashboards.page_layout import finish
from dashboards.tables import AS_IT_IS, TableColumn, headings, show_table
from pricing.intake.suspicions import find_suspicions
from pricing.intake.transfers import packed
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.reader import number_words
from pricing.words.loading import cells_words

ROWS_SHOWN: Final = 200
LONGEST_WORDS: Final = 500
"""Characters of a verdict or a name."""


def show_questions(snapshot: Snapshot) -> None:
    """One tab a kind of question, each read from the market only when it is looked at."""
    st.header("What waits for you")
    kinds: dict[str, Callable[[Snapshot], None]] = {
        "Rejected rows": _show_quarantine,
        "Names": _show_names,
        "Duplicates": _show_duplicates,
        "Odd records": _show_suspicions,
        "What was done": _show_audit,
    }
    kind = st.pills(
        "Kind of question", list(kinds), default="Rejected rows", required=True, key="question_kind",
        label_visibility="collapsed",
    )  # fmt: skip
    if kind:
        kinds[kind](snapshot)


def _pick(frame: pl.DataFrame, name: str, columns: dict[str, TableColumn]) -> dict[str, Any] | None:
    """A table to choose a row of, its other columns by their own names; the row chosen."""
    first = frame.head(ROWS_SHOWN)
    every_column = {key: columns.get(key, TableColumn(key, AS_IT_IS)) for key in frame.columns}
    event = show_table(first, name, every_column, every=frame, on_select="rerun", selection_mode="single-row")
    st.caption(_extent(frame))
    if not people.may("load"):
        return None
    telling = ("field", "typed", "make", "model", "year", "rule", "reason")
    labels = [
        f"{place}: " + " ".join(str(row[key]) for key in telling if row.get(key))[:80]
        for place, row in enumerate(first.rows(named=True), 1)
    ]
    chosen = event.selection.rows if hasattr(event, "selection") else []
    place = chosen[0] if chosen else None
    picked = st.selectbox(
        "Row to settle", labels, place, placeholder="choose a row", key=f"pick-{name}-{place}"
    )
    return None if picked is None else frame.row(labels.index(picked), named=True)


def _extent(frame: pl.DataFrame) -> str:
    return f"{number_words(min(frame.height, ROWS_SHOWN))} of {number_words(frame.height)} shown."


def _show_quarantine(snapshot: Snapshot) -> None:
    """The rejected rows with the rules they broke, and the lot as files to mend."""
    waiting = caches.listing(snapshot, "quarantine")
    if waiting.is_empty():
        st.write("No rejected row waits.")
        return
    first = waiting.head(ROWS_SHOWN)
    rules = pl.col("broken_rules").list.eval(pl.element().str.replace_all("_", " ", literal=True))
    show_table(
        first.with_columns(
            rules.list.join("; "), pl.Series("raw", [cells_words(row) for row in first["raw"]], pl.String)
        ),
        "rejected rows",
        {
            "file": "File",
            "row_number": TableColumn("Row", "%d"),
            "broken_rules": "Rules broken",
            "raw": "The row as it came",
        },
        every=waiting,
    )
    st.caption(
        f"{_extent(waiting)} Download them, one file a source with its mapping beside it; mend the cells and "
        "load the file here with that mapping: a mended row takes the place of the rejected one. Cells that "
        "a spreadsheet would run as a formula have an apostrophe in front, which loading takes away."
    )
    offer_file(
        "Download the rejected rows", lambda: archive(snapshot), "rejected_rows.zip", "application/zip"
    )


def archive(snapshot: Snapshot) -> bytes:
    """The rejected rows as files to mend, in one archive."""
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        snapshot.market.export_quarantine(folder)
        return packed(Path(folder))


def _show_names(snapshot: Snapshot) -> None:
    names = caches.listing(snapshot, "names")
    if names.is_empty():
        st.write("No two names look like one.")
        return
    words = {"typed": TableColumn("As typed"), "name": TableColumn("May be")}
    row = _pick(names, "names", headings("field", "state") | words)
    if row is None:
        return
    with st.form(f"name-{row['field']}-{row['typed']}", border=False):
        name = st.text_input("The name it stands for", row["name"], max_chars=LONGEST_WORDS)
        with st.container(horizontal=True):
            settle = st.form_submit_button("It is this name", type="primary")
            apart = st.form_submit_button("It is a name of its own")
            forget = st.form_submit_button("Forget what was settled", disabled=row["state"] != "settled")
    make, model = row.get("make"), row.get("model")
    if settle:
        snapshot.market.settle_name(row["field"], row["typed"], name, make=make, model=model)
        finish(f"{row['typed']} is {name} from now on.")
    if apart:
        snapshot.market.settle_name(row["field"], row["typed"], row["typed"], make=make, model=model)
        finish(f"{row['typed']} is a name of its own.")
    if forget:
        finish(f"{snapshot.market.forget_name(row['field'], row['typed'])} forgotten.")


def _show_duplicates(snapshot: Snapshot) -> None:
    """Records that are one sale, and a way to part them."""
    links = caches.listing(snapshot, "duplicates")
    if links.is_empty():
        st.write("No two records look like one sale.")
        return
    row = _pick(
        links,
        "duplicates",
        {
            **headings("record_id"),
            "other_id": TableColumn("Other record"),
            "rule": TableColumn("Rule"),
            "primary_id": TableColumn("In front"),
            "parted_at": TableColumn("Separated (UTC)"),
        },
    )
    if row is None:
        return
    both = pl.col("record_id").is_in([row["record_id"], row["other_id"]])
    show_table(
        snapshot.sales(every_record=True).filter(both),
        "the two records",
        {
            **headings("make", "model", "variant", "year", "chassis_number"),
            "event_date": "Day",
            "outcome": "What came of it",
            "price": f"Price ({snapshot.base_currency}, all-in)",
            **headings("source"),
        },
    )
    market, parted = snapshot.market, row["parted_at"] is not None
    if st.button("They are one sale after all" if parted else "They are two sales", type="primary"):
        if parted:
            finish(f"{market.relink(row['record_id'])} links hold again.")
        finish(f"{market.unlink(row['record_id'])} links parted.")


def _show_suspicions(snapshot: Snapshot) -> None:
    if people.may("load") and st.button("Look for doubtful records", help=what_is("suspicion")):
        model = snapshot.model if snapshot.state.fit else None
        new = snapshot.market.mark_suspicions(find_suspicions(snapshot.sales(every_record=True), model))
        finish(f"{number_words(new)} more records to look at.")
    waiting = caches.listing(snapshot, "suspicions")
    if waiting.is_empty():
        st.write("No odd record waits.")
        return
    own = {"reason": "Reason", "detail": "In figures", "event_date": "Day"}
    columns = {key: TableColumn(heading, AS_IT_IS) for key, heading in own.items()}
    row = _pick(waiting, "odd records", columns | headings("record_id", "source"))
    if row is None:
        return
    with st.form(f"verdict-{row['record_id']}", border=False):
        verdict = st.text_input("What was found out", max_chars=LONGEST_WORDS)
        if st.form_submit_button("Settle it", type="primary"):
            settled = snapshot.market.settle_suspicion(row["record_id"], verdict)
            finish(f"{settled} settled.")


def _show_audit(snapshot: Snapshot) -> None:
    trail = caches.listing(snapshot, "audit").reverse()
    columns = {"done_at": "When (UTC)", "action": "What", "subject": "To what", "detail": "In figures"}
    show_table(trail.head(ROWS_SHOWN), "audit trail", columns, every=trail)
    st.caption(_extent(trail))
