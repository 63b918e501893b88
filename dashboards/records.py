"""Records: a file of sales in, by a mapping that a person has seen; loads taken back; rejected rows."""

import logging
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import polars as pl
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboards import caches
from pricing.documents.load_words import dates_sentence, load_sentence, rules_table
from pricing.errors import PricingError
from pricing.intake.layout import Layout
from pricing.intake.mapping import Mapping
from pricing.intake.mapping_files import read_mapping, write_mapping_text
from pricing.intake.proposals import open_questions, preview, propose, turned
from pricing.intake.transfers import KINDS, LARGEST_UPLOAD, packed, received
from pricing.store import Market
from pricing.store_loading import LoadReport

ROWS_PREVIEWED: Final = 4
ROWS_SHOWN: Final = 200
LARGEST_MAPPING: Final = 100_000
"""Characters."""

_LOG: Final = logging.getLogger(__name__)
_MEGABYTE: Final = 1_000_000


def show_page() -> None:
    """Ask for a file and load it, show what was loaded and what waits."""
    st.title("Records")
    _show_done()
    with _one_sentence():
        _ask_file()
    if caches.market_path().exists():
        with _one_sentence():
            state = caches.market_state()
            _show_batches(state)
            _show_quarantine(state)


@contextmanager
def _one_sentence() -> Iterator[None]:
    """What goes wrong as one sentence for the person, and in full in the log."""
    try:
        yield
    except PricingError as error:
        _LOG.warning("shown to a person: %s", error, exc_info=True)
        st.error(_escaped(f"{error}."))


def _escaped(text: str) -> str:
    """Text that Markdown shows as it is."""
    return re.sub(r"([\\`*_{}\[\]<>()#+.!|~$:@&-])", r"\\\1", " ".join(text.split()))


def _done(outcome: LoadReport | str) -> None:
    """Keep what was done for the next run, which starts without the file and with what is newly there."""
    st.session_state["records_done"] = outcome
    st.session_state["records_round"] = _round() + 1
    st.rerun()


def _round() -> int:
    return int(st.session_state.get("records_round", 0))


def _show_done() -> None:
    """What the last press of a button did."""
    outcome = st.session_state.pop("records_done", None)
    if isinstance(outcome, LoadReport):
        st.success(_escaped(f"{load_sentence(outcome)}."))
        _show_rules(outcome)
    elif outcome is not None:
        st.success(_escaped(outcome))


def _show_rules(report: LoadReport) -> None:
    if report.by_rule:
        st.dataframe(
            rules_table(report),
            hide_index=True,
            height="content",
            column_config={
                "rule": "Rule broken",
                "rows": st.column_config.NumberColumn("Rows", format="localized"),
            },
        )


def _ask_file() -> None:
    """One file, and from there on its mapping, its first rows and its load."""
    st.write(
        "Give a file of sale records from any source. You see how its columns would be read, and may change "
        "that, before anything is kept."
    )
    upload = st.file_uploader(
        "File of sale records",
        type=list(KINDS),
        max_upload_size=LARGEST_UPLOAD // _MEGABYTE,
        key=f"upload-{_round()}",
    )
    if upload is None:
        return
    text = _ask_mapping(upload)
    with received(upload.name, upload.getbuffer()) as path:
        mapping_path = path.with_name("mapping.toml")
        write_mapping_text(text, mapping_path)
        mapping = read_mapping(mapping_path)
        _show_preview(upload, mapping)
        _ask_load(path, mapping_path, text)


def _ask_mapping(upload: UploadedFile) -> str:
    """The mapping as text: the person's own or a proposed one, changed as they like."""
    st.subheader("How its columns are read")
    own = st.file_uploader(
        "Mapping of this source, if you kept one", type="toml", max_upload_size=1, key=f"mapping-{_round()}"
    )
    if own is None:
        proposed = propose(
            caches.sample(upload.file_id, Layout(), upload), Path(upload.name).name.split(".")[0]
        )
        text = proposed.text
    else:
        text = own.getvalue().decode("utf-8", "replace")
    edited = st.text_area(
        "Mapping (TOML): ours = theirs",
        text,
        height=360,
        max_chars=LARGEST_MAPPING,
        key=f"text-{upload.file_id}-{own.file_id if own else 'proposed'}",
    )
    kept = text if edited is None else edited
    questions = open_questions(kept)
    if questions:
        lines = "\n".join(f"- {_escaped(question)}" for question in questions)
        st.warning(
            "The file leaves open what follows. Say it in the mapping, in the section named in brackets, and "
            f"take its line out:\n\n{lines}"
        )
    st.download_button(
        "Keep the mapping", kept, f"{upload.name}.mapping.toml", "application/toml", on_click="ignore"
    )
    return kept


def _show_preview(upload: UploadedFile, mapping: Mapping) -> None:
    st.subheader("First rows as they would land")
    st.write(dates_sentence(mapping))
    table = caches.sample(upload.file_id, mapping.layout, upload)
    landed = preview(mapping, table, datetime.now(UTC).date(), rows=ROWS_PREVIEWED)
    st.dataframe(
        turned(landed.select(_in_words("broken_rules"), pl.exclude("broken_rules"))),
        hide_index=True,
        height="content",
        placeholder="",
        column_config={"column": st.column_config.TextColumn("Column", pinned=True)},
    )


def _in_words(rules: str) -> pl.Expr:
    """A column of lists of rules, each as words."""
    return pl.col(rules).list.eval(pl.element().str.replace_all("_", " ", literal=True))


def _ask_load(path: Path, mapping: Path, text: str) -> None:
    """Count what a load would do, and load once it is said a second time."""
    market = caches.market_path()
    with st.container(horizontal=True):
        count = st.button("Count without loading")
        with st.popover("Load"):
            st.write(_escaped(f"All rows of {path.name} go into {market.name}, read by the mapping above."))
            questions = len(open_questions(text))
            if questions:
                st.write(f"Still open in the mapping: {questions}. What cannot be read is rejected.")
            st.write("The load can be taken back below.")
            load = st.button("Load the file now", type="primary")
    if count:
        trial = market if market.exists() else path.with_name("trial.duckdb")
        report = Market.open(trial).load([path], mapping=mapping, dry_run=True)
        st.info(_escaped(f"{load_sentence(report, dry_run=True)}."))
        _show_rules(report)
    if load:
        bar = st.progress(0.0, "Reading")

        def tell(step: str, done: int, total: int) -> None:
            bar.progress(min(1.0, done / max(1, total)), f"{step}: {done:,} of {total:,} rows")

        _done(Market.open(market).load([path], mapping=mapping, progress=tell))


def _show_batches(state: caches.MarketState) -> None:
    """Every load, and a way to take one back."""
    batches = caches.batches(state)
    if batches.is_empty():
        return
    st.subheader("What was loaded")
    st.dataframe(
        batches.select(
            "batch_id",
            pl.col("files").list.join(", "),
            *("read", "accepted", "rejected", "known", "loaded_at", "undone_at"),
        ),
        hide_index=True,
        placeholder="",
        column_config={
            "batch_id": "Batch",
            "loaded_at": st.column_config.DatetimeColumn("Loaded (UTC)", format="YYYY-MM-DD HH:mm"),
            "files": "Files",
            **{
                name: st.column_config.NumberColumn(words, format="localized")
                for name, words in (
                    ("read", "Read"),
                    ("accepted", "Accepted"),
                    ("rejected", "Rejected"),
                    ("known", "Already known"),
                )
            },
            "undone_at": st.column_config.DatetimeColumn("Taken back (UTC)", format="YYYY-MM-DD HH:mm"),
        },
    )
    standing = batches.filter(pl.col("undone_at").is_null())["batch_id"].to_list()
    if not standing:
        return
    batch = st.selectbox(
        "Batch to take back", standing, None, placeholder="none", key=f"batch-{_round()}", width=320
    )
    if batch is None:
        return
    with st.popover("Take back", key=f"undo-{_round()}"):
        st.write(f"The records and rejected rows of {batch} go; the batch stays listed as taken back.")
        if st.button(f"Take {batch} back now", type="primary"):
            gone = Market.open(state.path, create=False).undo(batch)
            _done(f"{gone:,} records of {batch} are gone.")


def _show_quarantine(state: caches.MarketState) -> None:
    """The rejected rows with the rules they broke, and the lot as files to mend."""
    waiting = caches.quarantine(state)
    if waiting.is_empty():
        return
    st.subheader("Rejected rows that wait to be mended")
    shown = waiting.head(ROWS_SHOWN)
    st.dataframe(
        shown.select("file", "row_number", _in_words("broken_rules").list.join("; "), "raw"),
        hide_index=True,
        placeholder="",
        column_config={
            "file": "File",
            "row_number": st.column_config.NumberColumn("Row", format="%d"),
            "broken_rules": "Rules broken",
            "raw": "The row as it came",
        },
    )
    st.caption(
        f"{shown.height:,} of {waiting.height:,} shown. Download them, one file a source with its mapping "
        "beside it; mend the cells and load the file here with that mapping: a mended row takes the place of "
        "the rejected one. Cells that a spreadsheet would run as a formula have an apostrophe in front, "
        "which loading takes away."
    )
    st.download_button(
        "Download the rejected rows",
        lambda: _archive(state),
        "rejected_rows.zip",
        "application/zip",
        on_click="ignore",
    )


def _archive(state: caches.MarketState) -> bytes:
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        Market.open(state.path, create=False).export_quarantine(folder)
        return packed(Path(folder))
