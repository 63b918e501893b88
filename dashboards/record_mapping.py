"""How the columns of a file are read: a mapping that is proposed, asked about, changed and seen at work."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import polars as pl
import streamlit as st
from streamlit.typing import UploadedFile

from dashboards import caches
from pricing.errors import PricingError
from pricing.intake.layout import Layout
from pricing.intake.mapping import Mapping
from pricing.intake.proposals import open_questions, preview, propose, turned
from pricing.intake.settling import Question, answerable, settled
from pricing.words.glossary import what_is
from pricing.words.loading import dates_sentence
from pricing.words.plain_text import escaped

ROWS_PREVIEWED: Final = 4
LARGEST_MAPPING: Final = 100_000
"""Characters."""


def ask_mapping(upload: UploadedFile, turn: int) -> str:
    """The mapping as text: the person's own or a proposed one, changed as they like."""
    st.subheader("How its columns are read", help=what_is("mapping"))
    own = st.file_uploader(
        "Mapping of this source, if you kept one", type="toml", max_upload_size=1, key=f"mapping-{turn}"
    )
    if own is None:
        proposed = propose(
            caches.sample(upload.file_id, Layout(), upload), Path(upload.name).name.split(".")[0]
        )
        text = proposed.text
    else:
        text = own.getvalue().decode("utf-8", "replace")
    key = f"text-{upload.file_id}-{own.file_id if own else 'proposed'}"
    st.session_state.setdefault(key, text[:LARGEST_MAPPING])
    _ask_questions(key)
    with st.expander("The mapping as text, to change anything in it", expanded=own is None):
        kept = st.text_area("Mapping (TOML): ours = theirs", height=360, max_chars=LARGEST_MAPPING, key=key)
        st.download_button(
            "Keep the mapping", kept, f"{upload.name}.mapping.toml", "application/toml", on_click="ignore"
        )
    return kept


def _ask_questions(key: str) -> None:
    """What the file leaves open: a choice where one word settles it, else what to write."""
    text = st.session_state[key]
    questions = answerable(text)
    if not open_questions(text):
        return
    st.warning("The file leaves open what follows; it is asked, never guessed.")
    for question in questions:
        st.selectbox(
            escaped(f"{question.key.replace('_', ' ')}: {question.text.partition(': ')[2]}"),
            question.choices,
            None,
            placeholder="choose",
            key=f"answer-{key}-{question.section}-{question.key}",
            on_change=_settle,
            args=(key, question),
        )
    by_hand = [asked for asked in open_questions(text) if asked not in {known.text for known in questions}]
    if by_hand:
        lines = "\n".join(f"- {escaped(asked)}" for asked in by_hand)
        st.write(
            "Say these in the text of the mapping, in the section named in brackets, and take their lines "
            f"out:\n\n{lines}"
        )


def _settle(key: str, question: Question) -> None:
    answer = st.session_state[f"answer-{key}-{question.section}-{question.key}"]
    if answer is not None:
        try:
            st.session_state[key] = settled(st.session_state[key], question, answer)
        except PricingError:
            return  # the page says what is wrong with the text


def show_preview(upload: UploadedFile, mapping: Mapping) -> None:
    """The first rows as the mapping reads them, and what would become of all of them."""
    st.subheader("First rows as they would land")
    st.write(dates_sentence(mapping))
    table = caches.sample(upload.file_id, mapping.layout, upload)
    landed = preview(mapping, table, datetime.now(UTC).date(), rows=ROWS_PREVIEWED)
    broken = pl.col("broken_rules").list.eval(pl.element().str.replace_all("_", " ", literal=True))
    st.dataframe(
        turned(landed.select(broken, pl.exclude("broken_rules"))),
        hide_index=True,
        height="content",
        placeholder="",
        column_config={"column": st.column_config.TextColumn("Column", pinned=True)},
    )
