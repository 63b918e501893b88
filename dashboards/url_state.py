"""What lives in the page's address, and goes along from page to page: a link or a bookmark brings it back.

What describes the car is entered on many pages, in fields of the same keys. It is taken from the address
once,
when a visitor comes, lives in the session, and is written back into the address after every run. Fields of
one page alone are bound to the address by Streamlit itself (``BOUND``).
"""

from typing import Any, Final

import streamlit as st

from pricing.car_fields import FIELDS

BOUND: Final[dict[str, Any]] = {"bind": "query-params", "persist_state": "session"}
"""Of a field that one page alone has: its value stands in the address under its key."""

_KINDS: Final = {
    **{name.removesuffix("_km"): field.kind for name, field in FIELDS.items()},
    **dict.fromkeys(("odometer_unit", "currency", "subject", "sheet", "least"), "text"),
    **dict.fromkeys(("asking", "offer_asking"), "number"),
    "quotes": "texts",
}
CARRIED: Final = tuple(_KINDS)
"""Keys of what describes the car and its offer."""

LONGEST: Final = 500
"""Characters of a word in the address."""

_TAKEN: Final = "address_taken"
_PAGE: Final = "page_before"
_MOVED: Final = "page_moved"


def take(page: str) -> bool:
    """What a visitor comes with, once; and on the way to another page, all that was entered before.

    Gives whether the visitor has just come to the page.
    """
    came = st.session_state.get(_PAGE) != page
    if _TAKEN not in st.session_state:
        st.session_state[_TAKEN] = True
        for name in CARRIED:
            values = st.query_params.get_all(name)
            found = _read(name, values) if values else None
            if found is not None:
                st.session_state[name] = found
    elif came:
        st.session_state[_MOVED] = True
        for name in CARRIED:
            if name in st.session_state:
                st.session_state[name] = st.session_state[name]  # said anew, so that the next page has it
    else:
        give()  # before the page is worked out, so that a reload meanwhile loses nothing
    st.session_state[_PAGE] = page
    return came


def query() -> dict[str, str | list[str]]:
    """What was entered, as an address has it."""
    said: dict[str, str | list[str]] = {}
    for name in CARRIED:
        value = st.session_state.get(name)
        if isinstance(value, list):
            shown: str | list[str] = [str(part) for part in value]
        elif isinstance(value, float) and value == round(value):
            shown = str(round(value))
        else:
            shown = "" if value is None else str(value)
        if shown and (name, shown) != ("odometer_unit", "km"):
            said[name] = shown
    return said


def give() -> None:
    """Write what was entered into the address; all of it after a move, for a browser drops it on the way."""
    moved, said = st.session_state.pop(_MOVED, False), query()
    for name in CARRIED:
        shown = said.get(name, [])
        if not shown:
            st.query_params.pop(name, None)
        elif moved or st.query_params.get_all(name) != (shown if isinstance(shown, list) else [shown]):
            st.query_params[name] = shown


def held_to(key: str, choices: list[str]) -> None:
    """Forget what a field of choices has from elsewhere when it is none of them."""
    value = st.session_state.get(key)
    if isinstance(value, list):
        if not set(value) <= set(choices):
            st.session_state[key] = [part for part in value if part in choices]
    elif value is not None and value not in choices:
        st.session_state[key] = None


def within(key: str, low: float, high: float | None) -> None:
    """Forget what a field of numbers has from elsewhere when it is out of bounds."""
    value = st.session_state.get(key)
    if value is not None and not (low <= value and (high is None or value <= high)):
        st.session_state[key] = None


def field_key(name: str) -> str:
    """The key of a field of a car; an odometer has a unit of its own beside it."""
    return name.removesuffix("_km")


def _read(name: str, values: list[str]) -> Any:
    """A value as its field holds it; nothing where the address says none."""
    kind = _KINDS[name]
    try:
        if kind == "whole":
            return int(values[0])
        if kind == "number":
            number = float(values[0])
            return number if abs(number) < 1e12 else None
    except ValueError:
        return None
    words = [value[:LONGEST] for value in values if value]
    return words if kind == "texts" else words[0] if words else None
