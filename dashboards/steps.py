"""A journey as a quiet line of steps over the page: a buyer's, a seller's, a valuer's. The car goes along."""

from typing import Final

import streamlit as st

from dashboards import page_layout
from dashboards.url_state import JOURNEY

JOURNEYS: Final[dict[str, tuple[tuple[str, str], ...]]] = {
    "buying": (("position", "Car"), ("inspect", "Look"), ("mend", "Budget"), ("buy", "Verdict")),
    "selling": (("position", "Car"), ("inspect", "Condition"), ("sell", "Where and for how much")),
    "valuing": (
        ("position", "Car"),
        ("inspect", "Condition"),
        ("comparables", "Comparables"),
        ("appraisals", "Document"),
    ),
}
"""The pages of each journey, and what is done on each, in order."""

_LEADS_TO: Final = {
    "mend": "buying",
    "buy": "buying",
    "sell": "selling",
    "comparables": "valuing",
    "appraisals": "valuing",
}


def show_steps(page: str) -> None:
    """The line of steps of the journey that a person is on; nothing on pages of none."""
    journey = st.session_state.get(JOURNEY)
    if journey not in JOURNEYS or all(page != step for step, _ in JOURNEYS[journey]):
        journey = _LEADS_TO.get(page)
    if journey is None:
        return
    with st.container(horizontal=True, key="steps"):
        for place, (step, words) in enumerate(JOURNEYS[journey], start=1):
            if step == page:
                st.markdown(f"**{place}. {words}**")
            else:
                page_layout.link(step, f"{place}. {words}", journey=journey)


def show_journeys() -> None:
    """Where a person goes from the first page with this car."""
    st.header("What is it for?")
    with st.container(horizontal=True, key="journeys"):
        for journey, words in (
            ("buying", "I may buy it"),
            ("selling", "I may sell it"),
            ("valuing", "I value it"),
        ):
            page_layout.link(JOURNEYS[journey][1][0], words, journey=journey)
        page_layout.link("comparables", "See comparable sales")
