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

JOURNEY: Final = "journey"
"""Key of what a person is about: buying, selling, valuing."""

_KINDS: Final = {
    **{name.removesuffix("_km"): field.kind for name, field in FIELDS.items()},
    **dict.fromkeys(("odometer_unit", "currency", "subject", "sheet", "least", JOURNEY), "text"),
    **dict.fromkeys(("asking", "offer_asking", "odometer", "year", "condition_score"), "text"),
    "quotes": "texts",
}
CARRIED: Final = tuple(_KINDS)
"""Keys of what describes the car and its offer."""

OWN_CURRENCY: Final = "own_currency"
"""Session state: the market's own currency, which an address leaves out."""

LONGEST: Final = 500
"""Characters of a word in the address."""

_GIVEN: Final = "address_given"
_PAGE: Final = "page_before"
_MOVED: Final = "page_moved"


def take(page: str) -> bool:
    """What a visitor comes with, or goes back to; and on the way to another page, all that was entered
    before.

    Gives whether the visitor has just come to the page.
    """
    came = st.session_state.get(_PAGE) != page
    if _has_moved(came):
        first = _GIVEN not in st.session_state
        for name in CARRIED:
            values = st.query_params.get_all(name)
            found = _read(name, values) if values else None
            if found is not None:
                st.session_state[name] = found
            elif not first and name in st.session_state:
                st.session_state[name] = [] if _KINDS[name] == "texts" else None
        if not first:
            st.session_state[_GIVEN] = query()  # so that the next step back is seen too
    elif came:
        st.session_state[_MOVED] = True
        for name in CARRIED:
            if name in st.session_state:
                st.session_state[name] = st.session_state[name]  # said anew, so that the next page has it
    else:
        give()  # before the page is worked out, so that a reload meanwhile loses nothing
    st.session_state[_PAGE] = page
    return came


def _has_moved(came: bool) -> bool:
    """Whether the address tells another car than the page does, and nobody has touched a field: a visitor has
    just come, or the browser has gone back or forward. A move to another page may drop the address."""
    given = st.session_state.get(_GIVEN)
    if given is None:
        return True
    told = _told()
    return told != given and query() == given and not (came and not told)


def _told() -> dict[str, str | list[str]]:
    """What the address says now, as ``query`` would say it."""
    said: dict[str, str | list[str]] = {}
    for name in CARRIED:
        values = st.query_params.get_all(name)
        if values:
            said[name] = values if _KINDS[name] == "texts" else values[0]
    return said


def query() -> dict[str, str | list[str]]:
    """What was entered, as an address has it."""
    said: dict[str, str | list[str]] = {}
    own = st.session_state.get(OWN_CURRENCY)
    for name in CARRIED:
        value = st.session_state.get(name)
        if isinstance(value, list):
            shown: str | list[str] = [str(part) for part in value]
        elif isinstance(value, float) and value == round(value):
            shown = str(round(value))
        else:
            shown = "" if value is None else str(value)
        if shown and (name, shown) not in (("odometer_unit", "km"), ("currency", own)):
            said[name] = shown
    return said


def give() -> None:
    """Write what was entered into the address, in one step of the browser's history; all of it after a move,
    for a browser drops it on the way."""
    moved, said = st.session_state.pop(_MOVED, False), query()
    told = _told()
    for name in told.keys() - said.keys():
        st.query_params.pop(name, None)
    changed = {name: shown for name, shown in said.items() if moved or told.get(name) != shown}
    if changed:
        st.query_params.update(changed)
    st.session_state[_GIVEN] = said


def held_to(key: str, choices: list[str]) -> None:
    """Forget what a field of choices has from elsewhere when it is none of them."""
    value = st.session_state.get(key)
    if isinstance(value, list):
        if not set(value) <= set(choices):
            st.session_state[key] = [part for part in value if part in choices]
    elif value is not None and value not in choices:
        st.session_state[key] = None


def field_key(name: str) -> str:
    """The key of a field of a car; an odometer has a unit of its own beside it."""
    return name.removesuffix("_km")


def _read(name: str, values: list[str]) -> Any:
    """A value as its field holds it; nothing where the address says none."""
    words = [value[:LONGEST] for value in values if value]
    return words if _KINDS[name] == "texts" else words[0] if words else None
