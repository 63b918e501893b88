"""One section of an appraisal record as a form, made from what its fields ask."""

from dataclasses import Field, fields
from datetime import date
from typing import Any

import streamlit as st

from pricing.appraisal.answers import LONGEST_TEXT
from pricing.appraisal.record import SECTIONS, Appraisal, with_answer
from pricing.appraisal.register import Entry

LONG = frozenset(
    {
        "basis_definition", "scope", "not_done", "limits", "provenance", "extent", "reconciliation",
        "approaches_left_out", "qualifications", "exposure_time", "tax_status",
    }
)  # fmt: skip
"""Fields that take more than a line."""


def ask_section(entry: Entry, section: str, *, disabled: bool) -> Appraisal | None:
    """Ask for the answers of a section; the record with them once they are to be kept.

    Raises:
        AppraisalError: an answer is not of the kind that its field asks for.
    """
    said = getattr(entry.record, section)
    with st.form(f"{entry.appraisal_id}-{entry.revision}-{section}"):
        answers = {part.name: _ask(part, getattr(said, part.name)) for part in fields(SECTIONS[section])}
        kept = st.form_submit_button("Keep these answers", type="primary", disabled=disabled)
    if not kept:
        return None
    record = entry.record
    for name, answer in answers.items():
        record = with_answer(record, f"{section}.{name}", answer)
    return record


def _ask(part: "Field[Any]", known: Any) -> Any:
    """The widget for one field, and its answer as the record takes it."""
    kind, allowed = part.metadata["kind"], part.metadata["allowed"]
    label = f"{part.metadata['asks'][0].upper()}{part.metadata['asks'][1:]}"
    if allowed:
        place = allowed.index(known) if known in allowed else None
        return st.selectbox(label, allowed, place, placeholder="not said") or ""
    if kind == "day":
        day = st.date_input(label, known, date(1950, 1, 1), date(2100, 12, 31))
        return day if isinstance(day, date) else None
    if kind == "yes or no":
        words = st.selectbox(
            label, ("yes", "no"), None if known is None else 1 - int(known), placeholder="not said"
        )
        return None if words is None else words == "yes"
    if kind == "texts":
        text = st.text_area(f"{label}, one a line", "\n".join(known), max_chars=LONGEST_TEXT)
        return [line.strip() for line in text.splitlines() if line.strip()]
    if kind == "how":
        text = st.text_area(
            f"{label}, lines of the form field = text",
            "\n".join(f"{name} = {how}" for name, how in known.items()),
            max_chars=LONGEST_TEXT,
        )
        pairs = (line.partition("=") for line in text.splitlines() if line.strip())
        return {name.strip(): how.strip() for name, _, how in pairs}
    shown = "" if known is None else str(known)
    if part.name in LONG:
        return st.text_area(label, shown, max_chars=LONGEST_TEXT)
    return st.text_input(label, shown, max_chars=LONGEST_TEXT)
