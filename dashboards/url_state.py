"""What lives in the page's address, and goes along from page to page: a link or a bookmark brings it back.

What describes the car is entered on many pages, in fields of the same keys. It is taken from the address when
a visitor comes and when the browser's own buttons go back or forward, lives in the session, and is written
back into the address after every run. Fields of one page alone are bound to the address by Streamlit itself
(``BOUND``).
"""

from typing import Any, Final

import streamlit as st

from pricing.car_fields import FIELDS

BOUND: Final[dict[str, Any]] = {"bind": "query-params", "persist_state": "session"}
"""Of a field that one page alone has: its value stands in the address under its key."""

SHARED: Final[dict[str, Any]] = {"persist_state": "session"}
"""Of a field that many pages have, which ``give`` writes into the address."""

JOURNEY: Final = "journey"
"""Key of what a person is about: buying, selling, valuing."""

OWN_CURRENCY: Final = "own_currency"
"""Session state: the market's own currency, which an address leaves out."""

LONGEST: Final = 500
"""Characters of a word in the address."""

_WRITTEN: Final = "address_written"
_PAGE: Final = "page_before"
_MOVED: Final = "page_moved"

Query = dict[str, str | list[str]]
"""What an address says, by key."""


def field_key(name: str) -> str:
    """The key of a field of a car; an odometer has a unit of its own beside it."""
    return name.removesuffix("_km")


CARRIED: Final = (
    *map(field_key, FIELDS), "odometer_unit", "currency", "subject", "sheet", "least", JOURNEY, "asking",
    "offer_asking", "quotes",
)  # fmt: skip
"""Keys of what describes the car and its offer."""

_LISTS: Final = {"quotes", *(name for name, field in FIELDS.items() if field.kind == "texts")}


def take(page: str) -> bool:
    """What a visitor comes with, or goes back to; and on the way to another page, all that was entered
    before.

    Gives whether the visitor has just come to the page.
    """
    state: Any = st.session_state
    came = state.get(_PAGE) != page
    if _has_moved(came):
        first = _WRITTEN not in state
        for name in CARRIED:
            values = [value[:LONGEST] for value in st.query_params.get_all(name) if value]
            if values:
                state[name] = values if name in _LISTS else values[0]
            elif not first and name in state:
                state[name] = [] if name in _LISTS else None
        if not first:
            state[_WRITTEN] = query()  # so that the next step back is seen too
    elif came:
        state[_MOVED] = True
        for name in CARRIED:
            if name in state:
                state[name] = state[name]  # set anew, so that the next page has it
    else:
        give()  # before the page is worked out, so that a reload meanwhile loses nothing
    state[_PAGE] = page
    return came


def _has_moved(came: bool) -> bool:
    """Whether the address tells another car than the page does, and nobody has touched a field: a visitor has
    just come, or the browser has gone back or forward. A move to another page may drop the address."""
    written = st.session_state.get(_WRITTEN)
    if written is None:
        return True
    address = _address()
    return address != written and query() == written and not (came and not address)


def _address() -> Query:
    """What the address says now, as ``query`` would say it."""
    values = {name: st.query_params.get_all(name) for name in CARRIED}
    return {name: texts if name in _LISTS else texts[0] for name, texts in values.items() if texts}


def query() -> Query:
    """What was entered, as an address has it."""
    entered: Query = {}
    own = st.session_state.get(OWN_CURRENCY)
    for name in CARRIED:
        value = st.session_state.get(name)
        if isinstance(value, list):
            text: str | list[str] = [str(part) for part in value]
        elif isinstance(value, float) and value == round(value):
            text = str(round(value))
        else:
            text = "" if value is None else str(value)
        if text and (name, text) not in (("odometer_unit", "km"), ("currency", own)):
            entered[name] = text
    return entered


def give() -> None:
    """Write what was entered into the address, in one step of the browser's history; all of it after a move,
    for a browser drops it on the way."""
    moved, entered = st.session_state.pop(_MOVED, False), query()
    address = _address()
    for name in address.keys() - entered.keys():
        st.query_params.pop(name, None)
    changed = {name: text for name, text in entered.items() if moved or address.get(name) != text}
    if changed:
        st.query_params.update(changed)
    st.session_state[_WRITTEN] = entered


def held_to(key: str, choices: list[str]) -> None:
    """Forget what a field of choices has from elsewhere when it is none of them."""
    value = st.session_state.get(key)
    if isinstance(value, list):
        if not set(value) <= set(choices):
            st.session_state[key] = [part for part in value if part in choices]
    elif value is not None and value not in choices:
        st.session_state[key] = None
