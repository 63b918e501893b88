"""The inspection sheet in hand, acts on it that can be taken back, and what repairs were quoted at: sheet and
quotes live in the address, and go along from page to page."""

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Final

import streamlit as st

from dashboards import caches
from pricing.condition.catalogue import Catalogue
from pricing.condition.checks import NOT_SEEN, STATES, Check
from pricing.condition.inspection import Finding, Inspection
from pricing.operations import drafts
from pricing.operations.bundled import EXTENSIONS

SHEET: Final = "sheet"
QUOTES: Final = "quotes"

MOST_UNDONE: Final = 20
"""Acts that can be taken back, one after another."""

_BEFORE: Final = "sheet_before"


def name() -> str | None:
    """The name of the sheet in hand, if there is one."""
    named = st.session_state.get(SHEET)
    return None if named is None else str(named)


def take_up(name: str | None) -> None:
    """Have that sheet in hand from now on, or none."""
    if name is None:
        st.session_state.pop(SHEET, None)
    else:
        st.session_state[SHEET] = name


def in_hand() -> Inspection | None:
    """The sheet in hand as it was kept last."""
    named = name()
    return None if named is None else drafts.open_sheet(beside(), named, EXTENSIONS)


def beside() -> Path:
    """The market file that sheets are kept beside."""
    snapshot = caches.snapshot()
    return caches.own_market_path() if snapshot is None else snapshot.path


def quotes(catalogue: Catalogue) -> caches.Quotes:
    """What jobs were quoted at; what an address says of jobs that are none is left out."""
    amounts = {}
    for text in st.session_state.get(QUOTES) or ():
        job, _, amount = str(text).partition("=")
        try:
            money = Decimal(amount)
        except InvalidOperation:
            continue
        if job in catalogue.jobs and money.is_finite():
            amounts[job] = money
    return tuple(sorted(amounts.items()))


def take_quote(job: str, amount: Decimal | None) -> None:
    """Keep a quote for a job, or forget it."""
    others = [text for text in st.session_state.get(QUOTES) or () if not str(text).startswith(f"{job}=")]
    st.session_state[QUOTES] = others if amount is None else [*others, f"{job}={amount}"]


def keep(inspection: Inspection, findings: list[Finding]) -> None:
    """Keep findings in the sheet, and how it was before, to be taken back."""
    before = st.session_state.setdefault(_BEFORE, [])
    before.append({finding.check: inspection.findings.get(finding.check) for finding in findings})
    del before[:-MOST_UNDONE]
    drafts.keep_sheet(beside(), str(name()), inspection.fill(findings))


def offer_acts(inspection: Inspection, checks: list[Check]) -> None:
    """All that is left of some checks found sound at once, and the last act taken back."""
    left = [check.id for check in checks if inspection.state(check.id) == NOT_SEEN]
    with st.container(horizontal=True):
        st.button("All sound here", key="all-sound", disabled=not left, on_click=_all_sound, args=(left,))
        undone = st.session_state.get(_BEFORE, [])
        st.button("Undo", key="undo", disabled=not undone, on_click=_undo, icon=":material/undo:")


def _all_sound(checks: list[str]) -> None:
    inspection = in_hand()
    if inspection is not None:
        seen = {"seen_by": st.session_state.get("inspector", ""), "seen_on": datetime.now(UTC).date()}
        keep(inspection, [Finding(check, STATES[0], **seen) for check in checks])


def _undo() -> None:
    inspection, before = in_hand(), st.session_state.get(_BEFORE, [])
    if inspection is None or not before:
        return
    was = before.pop()
    findings = {check: finding for check, finding in inspection.findings.items() if check not in was}
    findings |= {check: finding for check, finding in was.items() if finding is not None}
    for check in was:
        for kind in ("state", "note"):
            st.session_state.pop(f"{kind}-{name()}-{check}", None)
    drafts.keep_sheet(beside(), str(name()), replace(inspection, findings=findings))
