"""What a person is asked about records: rejected rows, names, duplicates, odd records, and what was done."""

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, people
from dashboards.exhibits import day_column, moment_column, show_table
from pricing.intake.suspicions import find_suspicions
from pricing.intake.transfers import packed
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
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


def _said(words: str) -> None:
    """Keep what was done for the next run, which sees it in the records."""
    st.session_state["records_said"] = words
    st.rerun()


def _pick(frame: pl.DataFrame, name: str, columns: dict[str, Any]) -> dict[str, Any] | None:
    """A table to choose a row of; the row chosen."""
    shown = show_table(
        frame.head(ROWS_SHOWN), name, columns, every=frame, on_select="rerun", selection_mode="single-row"
    )
    st.caption(f"{number_words(min(frame.height, ROWS_SHOWN))} of {number_words(frame.height)} shown.")
    if not people.may("load"):
        return None
    labels = [
        f"{place}: {_label(row)}" for place, row in enumerate(frame.head(ROWS_SHOWN).rows(named=True), 1)
    ]
    chosen = shown.selection.rows if hasattr(shown, "selection") else []
    place = chosen[0] if chosen else None
    picked = st.selectbox(
        "Row to settle", labels, place, placeholder="choose a row", key=f"pick-{name}-{place}"
    )
    return None if picked is None else frame.row(labels.index(picked), named=True)


def _label(row: dict[str, Any]) -> str:
    kept = [
        str(row[name])
        for name in ("field", "typed", "make", "model", "year", "rule", "reason")
        if row.get(name)
    ]
    return " ".join(kept)[:80]


def _show_quarantine(snapshot: Snapshot) -> None:
    """The rejected rows with the rules they broke, and the lot as files to mend."""
    waiting = caches.listing(snapshot, "quarantine")
    if waiting.is_empty():
        st.write("No rejected row waits.")
        return
    broken = (
        pl.col("broken_rules").list.eval(pl.element().str.replace_all("_", " ", literal=True)).list.join("; ")
    )
    first = waiting.head(ROWS_SHOWN)
    cells = pl.Series("raw", [cells_words(row) for row in first["raw"]], pl.String)
    shown = first.select("file", "row_number", broken, cells)
    show_table(
        shown,
        "rejected rows",
        {
            "file": "File",
            "row_number": st.column_config.NumberColumn("Row", format="%d"),
            "broken_rules": "Rules broken",
            "raw": "The row as it came",
        },
        every=waiting,
    )
    st.caption(
        f"{number_words(shown.height)} of {number_words(waiting.height)} shown. Download them, one file a "
        "source with its mapping beside it; mend the cells and load the file here with that "
        "mapping: a mended row takes the place of the rejected one. "
        "Cells that a spreadsheet would run as a formula have an apostrophe in front, "
        "which loading takes away."
    )
    st.download_button(
        "Download the rejected rows",
        lambda: archive(snapshot),
        "rejected_rows.zip",
        "application/zip",
        on_click="ignore",
    )


def archive(snapshot: Snapshot) -> bytes:
    """The rejected rows as files to mend, in one archive."""
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        snapshot.market.export_quarantine(folder)
        return packed(Path(folder))


def _show_names(snapshot: Snapshot) -> None:
    """Names that may be one, and what was settled about them."""
    names = caches.listing(snapshot, "names")
    if names.is_empty():
        st.write("No two names look like one.")
        return
    row = _pick(names, "names", {"field": "Field", "typed": "As typed", "name": "May be", "state": "State"})
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
        _said(f"{row['typed']} is {name} from now on.")
    if apart:
        snapshot.market.settle_name(row["field"], row["typed"], row["typed"], make=make, model=model)
        _said(f"{row['typed']} is a name of its own.")
    if forget:
        _said(f"{snapshot.market.forget_name(row['field'], row['typed'])} forgotten.")


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
            "record_id": "Record",
            "other_id": "Other record",
            "rule": "Rule",
            "primary_id": "In front",
            "parted_at": moment_column("Separated (UTC)"),
        },
    )
    if row is None:
        return
    records = snapshot.sales(every_record=True).filter(
        pl.col("record_id").is_in([row["record_id"], row["other_id"]])
    )
    columns: dict[str, Any] = {
        "make": "Make",
        "model": "Model",
        "variant": "Variant",
        "year": st.column_config.NumberColumn("Year", format="%d"),
        "chassis_number": "Chassis number",
        "event_date": day_column("Day"),
        "outcome": "What came of it",
        "price": st.column_config.NumberColumn(
            f"Price ({snapshot.base_currency}, all-in)", format="localized"
        ),
        "source": "Source",
    }
    show_table(records.select(columns), "the two records", columns)
    parted = row["parted_at"] is not None
    if st.button("They are one sale after all" if parted else "They are two sales", type="primary"):
        market = snapshot.market
        if parted:
            _said(f"{market.relink(row['record_id'])} links hold again.")
        _said(f"{market.unlink(row['record_id'])} links parted.")


def _show_suspicions(snapshot: Snapshot) -> None:
    """Records that are odd against the market, and a verdict on each."""
    if people.may("load") and st.button("Look for doubtful records", help=what_is("suspicion")):
        model = snapshot.model if snapshot.state.fit else None
        new = snapshot.market.mark_suspicions(find_suspicions(snapshot.sales(every_record=True), model))
        _said(f"{number_words(new)} more records to look at.")
    waiting = caches.listing(snapshot, "suspicions")
    if waiting.is_empty():
        st.write("No odd record waits.")
        return
    row = _pick(
        waiting,
        "odd records",
        {
            "record_id": "Record",
            "reason": "Reason",
            "detail": "In figures",
            "event_date": "Day",
            "source": "Source",
        },
    )
    if row is None:
        return
    with st.form(f"verdict-{row['record_id']}", border=False):
        verdict = st.text_input("What was found out", max_chars=LONGEST_WORDS)
        if st.form_submit_button("Settle it", type="primary"):
            settled = snapshot.market.settle_suspicion(row["record_id"], verdict)
            _said(f"{settled} settled.")


def _show_audit(snapshot: Snapshot) -> None:
    """The audit trail, the newest first."""
    trail = caches.listing(snapshot, "audit").reverse()
    show_table(
        trail.head(ROWS_SHOWN),
        "audit trail",
        {
            "done_at": moment_column("When (UTC)"),
            "action": "What",
            "subject": "To what",
            "detail": "In figures",
        },
        every=trail,
    )
    st.caption(
        escaped(f"{number_words(min(trail.height, ROWS_SHOWN))} of {number_words(trail.height)} shown.")
    )
