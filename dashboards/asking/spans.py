"""Being asked for a span price by price, in place of typing it."""

from decimal import Decimal
from typing import Final

import streamlit as st

from dashboards.asking.typed_fields import ask_amount_in
from dashboards.text import write
from pricing.errors import OpinionError
from pricing.opinions.elicitation import ANSWERS, HALF, Bisection
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.plain_text import capital, escaped
from pricing.words.opinions import asked_sentence, told_sentence

_BISECTION: Final = "asked_span"
_TAKEN: Final = "asked_taken"
_MEDIANS: Final = "asked_medians"


def put_in_taken() -> None:
    """Put quartiles that were just answered into the fields of their band; before any field is drawn."""
    taken = st.session_state.pop(_TAKEN, None)
    if taken is not None:
        band, quartiles = taken
        low_key, high_key = field_keys(band)
        st.session_state[low_key], st.session_state[high_key] = float(quartiles[0]), float(quartiles[2])
        st.session_state["said_holds"] = HALF
        st.session_state.setdefault(_MEDIANS, {})[band] = quartiles


def field_keys(band: str) -> tuple[str, str]:
    """The keys of the fields of a band's span."""
    place = CONDITION_BANDS.index(band)
    return f"said_low_{place}", f"said_high_{place}"


def median_of(band: str, low: Decimal | None, high: Decimal | None) -> Decimal | None:
    """The median that was answered with this span, which has not been typed over since."""
    answered = st.session_state.get(_MEDIANS, {}).get(band)
    if answered is None or low is None or high is None:
        return None
    lower, median, upper = answered
    return Decimal(median) if (float(lower), float(upper)) == (float(low), float(high)) else None


def ask_quartiles(currency: str) -> None:
    """Quartiles of one band by bisection; taken over, they are a span that holds half."""
    with st.expander("Let the page ask you, price by price"):
        band = st.selectbox("Which condition?", CONDITION_BANDS, 2, key="asked_band")
        first, second = st.columns(2)
        with first:
            least = ask_amount_in(
                currency, "No such car sells below", "asked_least", "lowest price", cost=False
            )
        with second:
            most = ask_amount_in(currency, "Nor above", "asked_most", "highest price", cost=False)
        if not least or not most:
            st.caption("First say two prices between which every such car sells.")
            return
        bounds = (band, least, most)
        begun, bisection = st.session_state.get(_BISECTION, (None, None))
        if begun != bounds:
            try:
                bisection = Bisection.between(least, most)
            except OpinionError as error:
                st.error(escaped(str(error)))
                return
            st.session_state[_BISECTION] = (bounds, bisection)
        _ask(bounds, bisection, currency)


def _ask(bounds: tuple[str, Decimal, Decimal], bisection: Bisection, currency: str) -> None:
    """The next question, or what the answers come to."""
    band, _, _ = bounds
    if bisection.done:
        write(told_sentence(bisection.quartiles, currency))
        with st.container(horizontal=True):
            taken = st.button("Yes: take it over", type="primary")
            if taken:
                st.session_state[_TAKEN] = (band, bisection.quartiles)
            if st.button("No: ask again") or taken:
                del st.session_state[_BISECTION]
                st.rerun()
        return
    write(asked_sentence(bisection, band, currency))
    with st.container(horizontal=True):
        for place, answer in enumerate(ANSWERS):
            if st.button(capital(answer), key=f"answer-{place}"):
                st.session_state[_BISECTION] = (bounds, bisection.answered(answer))
                st.rerun()
