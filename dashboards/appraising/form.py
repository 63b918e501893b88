"""What is asked for an appraisal: who, on what terms, one section of its record, the profiles it takes over,
its completion, how its documents look."""

from dataclasses import Field, fields
from datetime import UTC, date, datetime
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import people
from dashboards.asking.typed_fields import ask_day
from dashboards.downloads import PAPER_WORDS
from dashboards.page_layout import finish
from dashboards.url_state import SHARED
from pricing.appraisal.completion import CERTIFICATION, complete
from pricing.appraisal.record.form import NAMED_FILES
from pricing.appraisal.record.profiles import (
    KINDS,
    LONGEST_NAME,
    answers_of,
    keep_profile,
    profiles,
    with_profiles,
)
from pricing.appraisal.record.record import LONGEST_TEXT, Appraisal, with_answer
from pricing.appraisal.record.sections import MARKET_LEVELS, SECTIONS
from pricing.appraisal.register import Entry
from pricing.snapshot import Snapshot
from pricing.words.language.locale import LOCALES, LocaleWords
from pricing.words.language.plain_text import capital

LONG = frozenset(
    {
        "basis_definition", "scope", "not_done", "limits", "provenance", "extent", "reconciliation",
        "approaches_left_out", "qualifications", "exposure_time", "tax_status", "departure", "uncertainty",
        "earlier_sales", "premise_change", "retrospective", "gathered_later", "newer", "data_quality",
        "model_governance", "outside_factors", "liability", "level_reason",
    }
)  # fmt: skip
"""Fields that take more than a line."""


SHARED_TERMS: Final = (
    "client", "intended_use", "basis", "market_level", "effective_date", "report_date"
)  # fmt: skip
"""Terms of an assignment that a model report cannot do without."""


def ask_who() -> str | None:
    """Who does this; goes into the log."""
    return people.person() or st.text_input(
        "Who does this (goes into the log)", None, 200, key="valuer", **SHARED
    )


def ask_assignment(snapshot: Snapshot) -> dict[str, Any] | None:
    """What evidence cannot be gathered without; nothing while it is not said."""
    first, second, third = st.columns(3)
    kind = first.selectbox("Kind", ("appraisal", "model report"), key="appraisal_kind")
    level = second.selectbox(
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
    terms = [part for part in fields(SECTIONS["assignment"]) if part.name in SHARED_TERMS]
    answers, columns = {}, st.columns(2)
    for place, part in enumerate(terms):
        with columns[2 * place // len(terms)]:
            answers[part.name] = _ask(part, known.get(part.name))
    if not all(answers.values()):
        return None
    return {"kind": "model report", "currency": snapshot.base_currency, **answers}


def _last_day(snapshot: Snapshot) -> date:
    day: date = snapshot.sales().select(pl.col("event_date").cast(pl.Date).max()).item()
    return day


def ask_layout() -> tuple[str, LocaleWords]:
    """The paper, and the locale of the document: its language, amounts and days."""
    first, second = st.columns(2)
    paper = first.selectbox("Paper", list(PAPER_WORDS), format_func=PAPER_WORDS.__getitem__, key="paper")
    locale = second.selectbox(
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
    record, before = entry.record, getattr(entry.record, section)
    with st.form(f"{entry.appraisal_id}-{entry.revision}-{section}"):
        answers = {
            part.name: _ask(part, getattr(before, part.name))
            for part in fields(SECTIONS[section])
            if (section, part.name) not in NAMED_FILES and not part.metadata["act"]
        }
        pressed = st.form_submit_button("Keep these answers", type="primary", disabled=disabled)
    if not pressed:
        return None
    for name, answer in answers.items():
        record = with_answer(record, f"{section}.{name}", answer)
    return record


def _ask(part: "Field[Any]", known: Any) -> Any:
    """The widget for one field, and its answer as the record takes it."""
    kind, allowed = part.metadata["kind"], part.metadata["allowed"]
    label = capital(part.metadata["asks"])
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
    ask = st.text_area if part.name in LONG else st.text_input
    return ask(label, "" if known is None else str(known), max_chars=LONGEST_TEXT)


def ask_profiles(snapshot: Snapshot, entry: Entry, *, disabled: bool) -> Appraisal | None:
    """Take profiles over, keep or forget one; the record with those taken over, once asked for."""
    stored = snapshot.by_write.get("profiles", lambda: profiles(snapshot.market))
    known = {f"{each.kind}: {each.name}": each for each in stored}
    with st.expander("Profiles: valuer, firm, client, standing texts"):
        st.caption(
            "Kept in this market alone. Taking one over puts its answers in the place of those given here."
        )
        record = None
        if known:
            chosen = st.multiselect("Profiles to take over", list(known), key="profiles_taken")
            with st.container(horizontal=True):
                if st.button("Take them over", disabled=disabled or not chosen, key="take_profiles"):
                    record = with_profiles(entry.record, [known[name] for name in chosen])
                if st.button("Forget them", disabled=disabled or not chosen, key="forget_profiles"):
                    for name in chosen:
                        snapshot.market.profiles.forget(known[name].kind, known[name].name)
                    finish(f"Forgotten: {', '.join(chosen)}.")
        answered = [kind for kind in KINDS if answers_of(entry.record, kind)]
        if answered:
            with st.form("keep_profile", border=False):
                kind = st.selectbox("Keep what is answered here of", answered)
                name = st.text_input("as a profile named", max_chars=LONGEST_NAME)
                if st.form_submit_button("Keep the profile", disabled=disabled):
                    profile = keep_profile(snapshot.market, kind, name, entry.record)
                    finish(f"The {profile.kind} profile {profile.name!r} is kept.")
        return record


def ask_completion(snapshot: Snapshot, entry: Entry, by: str | None) -> None:
    """Ask the valuer for what completes the appraisal, the own name and every point of the certification;
    once it is given, keep it."""
    with st.expander("Complete it as its valuer"):
        st.caption(
            "Only the valuer named in the record completes it. Each point is answered in the valuer's words; "
            "the document is then signed by hand."
        )
        with st.form(f"complete-{entry.appraisal_id}-{entry.revision}", border=False):
            name = st.text_input("Your name, as the record has the valuer's", max_chars=200)
            answers = {
                point: st.text_input(capital(text), max_chars=2_000) for point, text in CERTIFICATION.items()
            }
            pressed = st.form_submit_button("Complete the appraisal", type="primary")
        if pressed:
            complete(snapshot.market, entry, answers, name=name, by=by if by else name)
            finish(f"{entry.appraisal_id} is completed.")
