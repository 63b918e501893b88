"""The inspection sheet in hand, and what repairs were quoted at: both live in the address, and go along from
page to page."""

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Final

import streamlit as st

from dashboards import caches
from pricing.condition.catalogue import Catalogue
from pricing.condition.inspection import Inspection
from pricing.operations import drafts
from pricing.operations.bundled import EXTENSIONS

SHEET: Final = "sheet"
QUOTES: Final = "quotes"


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


def quotes(catalogue: Catalogue) -> caches.Quotes:
    """What jobs were quoted at; what an address says of jobs that are none is left out."""
    found = {}
    for text in st.session_state.get(QUOTES) or ():
        job, _, amount = str(text).partition("=")
        try:
            money = Decimal(amount)
        except InvalidOperation:
            continue
        if job in catalogue.jobs and money.is_finite():
            found[job] = money
    return tuple(sorted(found.items()))


def take_quote(job: str, amount: Decimal | None) -> None:
    """Keep a quote for a job, or forget it."""
    kept = [text for text in st.session_state.get(QUOTES) or () if not str(text).startswith(f"{job}=")]
    st.session_state[QUOTES] = kept if amount is None else [*kept, f"{job}={amount}"]
