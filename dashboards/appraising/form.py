"""What is asked for an appraisal: who, on what terms, one section of its record, how its documents look."""

from dataclasses import Field, fields
from datetime import UTC, date, datetime
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import people
from dashboards.asking.typed_fields import ask_day
from dashboards.exhibits import PAPER_WORDS
from pricing.appraisal.record.form import NAMED_FILES
from pricing.appraisal.record.record import LONGEST_TEXT, Appraisal, with_answer
from pricing.appraisal.record.sections import MARKET_LEVELS, SECTIONS
from pricing.appraisal.register import Entry
from pricing.snapshot import Snapshot
from pricing.words.language.locale import LOCALES, LocaleWords

LONG = frozenset(
    {
        "basis_definition", "scope", "not_done", "limits", "provenance", "extent", "reconciliation",
        "approaches_left_out", "qualifications", "exposure_time", "tax_status", "departure", "uncertainty",
        "earlier_sales", "premise_change", "retrospective", "gathered_later", "newer", "data_quality",
        "model_governance", "outside_factors", "liability", "level_reason",
    }
)  # fmt: skip
"""Fields that take more than a line."""


SHARED: Final = (
    "client", "intended_use", "basis", "market_level", "effective_date", "report_date"
)  # fmt: skip
"""Terms of an assignment that a model report cannot do without."""


def ask_who() -> str | None:
    """Who does this; goes into the log."""
    signed_in = people.person()
    if signed_in:
        return signed_in
    return st.text_input(
        "Who does this (goes into the log)", None, 200, key="valuer", persist_state="session"
    )


def ask_assignment(snapshot: Snapshot) -> dict[str, Any] | None:
    """What evidence cannot be gathered without; nothing while it is not said."""
    first, second, third = st.columns(3)
    with first:
        kind = st.selectbox("Kind", ("appraisal", "model report"), key="appraisal_kind")
    with second:
        level = st.selectbox(
            "Level of the market", MARKET_LEVELS, None, placeholder="choose", key="market_level"
        )
    with third:
        effective = ask_day("Effective date", _last_day(snapshot), key="effective_date")
    if level is None:
        return None
    return {
        "kind": kind, "effective_date": effective, "market_level": level, "currency": snapshot.base_currency,
    }  # fmt: skip


def ask_shared_terms(snapshot: Snapshot) -> dict[str, Any] | None:
    """What all cars of a collection share, as model reports; nothing until all of it is said."""
    known = {"effective_date": _last_day(snapshot), "report_date": datetime.now(UTC).date()}
    asked = [part for part in fields(SECTIONS["assignment"]) if part.name in SHARED]
    answers, columns = {}, st.columns(2)
    for place, part in enumerate(asked):
        with columns[2 * place // len(asked)]:
            answers[part.name] = _ask(part, known.get(part.name))
    if not all(answers.values()):
        return None
    return {"kind": "model report", "currency": snapshot.base_currency, **answers}


def _last_day(snapshot: Snapshot) -> date:
    """The day of the last record."""
    day: date = snapshot.sales().select(pl.col("event_date").cast(pl.Date).max()).item()
    return day


def ask_layout() -> tuple[str, LocaleWords]:
    """The paper, and the locale of the document: its language, amounts and days."""
    first, second = st.columns(2)
    with first:
        paper = st.selectbox("Paper", list(PAPER_WORDS), format_func=PAPER_WORDS.__getitem__, key="paper")
    with second:
        locale = st.selectbox(
            "Language and country of the document", LOCALES, index=LOCALES.index("en_GB"), key="locale",
            format_func=lambda name: LocaleWords.of(name).name,
        )  # fmt: skip
    return paper, LocaleWords.of(locale)


def ask_section(entry: Entry, section: str, *, disabled: bool) -> Appraisal | None:
    """Ask for the answers of a section; the record with them once they are to be kept. A page names no file
    of the server: what a record names of files stays as it is.

    Raises:
        AppraisalError: an answer is not of the kind that its field asks for.
    """
    said = getattr(entry.record, section)
    with st.form(f"{entry.appraisal_id}-{entry.revision}-{section}"):
        asked = [
            part
            for part in fields(SECTIONS[section])
            if (section, part.name) not in NAMED_FILES and not part.metadata["act"]
        ]
        answers = {part.name: _ask(part, getattr(said, part.name)) for part in asked}
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
        return ask_day(label, known, min_value=date(1950, 1, 1), max_value=date(2100, 12, 31))
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
