"""The inspection sheet in hand: its name lives in the address, and goes along from page to page."""

from pathlib import Path
from typing import Final

import streamlit as st

from dashboards import caches
from pricing.condition.inspection import Inspection
from pricing.operations import drafts
from pricing.operations.demo_files import EXTENSIONS

SHEET: Final = "sheet"


def name() -> str | None:
    """The name of the sheet in hand, if there is one."""
    found = st.session_state.get(SHEET)
    return None if found is None else str(found)


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
