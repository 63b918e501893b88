"""Acts on an inspection sheet that are done at once: an area found sound, the last act taken back."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

import streamlit as st

from dashboards.inspecting import sheets
from pricing.condition.checks import NOT_SEEN, STATES, Check
from pricing.condition.inspection import Finding, Inspection
from pricing.operations import drafts

MOST_UNDONE: Final = 20
"""Acts that can be taken back, one after another."""

_BEFORE: Final = "sheet_before"


def offer_quick(inspection: Inspection, here: list[Check]) -> None:
    """All that is left of an area found sound at once, and the last act taken back."""
    left = [check.id for check in here if inspection.state(check.id) == NOT_SEEN]
    with st.container(horizontal=True):
        st.button(
            "All sound here", key="all-sound", disabled=not left, on_click=_all_sound, args=(tuple(left),)
        )
        undone = st.session_state.get(_BEFORE, [])
        st.button("Undo", key="undo", disabled=not undone, on_click=_undo, icon=":material/undo:")


def _all_sound(checks: tuple[str, ...]) -> None:
    inspection = sheets.in_hand()
    if inspection is not None:
        today = datetime.now(UTC).date()
        by = st.session_state.get("inspector", "")
        keep(inspection, [Finding(check, STATES[0], seen_by=by, seen_on=today) for check in checks])


def keep(inspection: Inspection, findings: list[Finding]) -> None:
    """Keep findings in the sheet, and how it was before, to be taken back."""
    before = st.session_state.setdefault(_BEFORE, [])
    before.append({finding.check: inspection.findings.get(finding.check) for finding in findings})
    del before[:-MOST_UNDONE]
    drafts.keep_sheet(sheets.beside(), str(sheets.name()), inspection.fill(findings))


def _undo() -> None:
    """Take the last act back."""
    inspection, before = sheets.in_hand(), st.session_state.get(_BEFORE, [])
    if inspection is None or not before:
        return
    was = before.pop()
    findings = {name: finding for name, finding in inspection.findings.items() if name not in was}
    findings |= {name: finding for name, finding in was.items() if finding is not None}
    for name in was:
        for kind in ("state", "note"):
            st.session_state.pop(f"{kind}-{sheets.name()}-{name}", None)
    drafts.keep_sheet(sheets.beside(), str(sheets.name()), replace(inspection, findings=findings))
