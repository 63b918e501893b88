"""One box in which a car is typed in any way, and what it may mean."""

from typing import Any, Final

import streamlit as st

from dashboards import caches
from pricing.car_search import CarSearch, FoundCar
from pricing.snapshot import Snapshot
from pricing.words.plain_text import escaped

_BOX: Final = "search"
_OFFERED: Final = "search_offered"
_PICKED: Final = "search_picked"


def ask_search(car: str | None) -> None:
    """The box, and the cars that may be meant; what is meant beyond doubt is taken at once. ``car``: the
    car that is chosen, in words."""
    st.text_input(
        "Which car?",
        key=_BOX,
        max_chars=120,
        type="search",
        placeholder="make, model, year: as 66 sedge" if car is None else car,
        icon=":material/search:",
        live="400ms",
        on_change=_take,
    )
    typed = st.session_state[_BOX].strip()
    offered: dict[str, FoundCar] = st.session_state.get(_OFFERED, {})
    if not typed:
        return
    if not offered:
        st.info(
            escaped(
                f"Nothing like '{typed}' is on record. Type the make or the model alone, or choose it "
                f"from the "
                "lists under More about the car."
            )
        )
    elif len(offered) > 1 or car is None:
        st.pills(
            "Or did you mean" if car in offered else "Did you mean",
            [words for words in offered if words != car],
            key=_PICKED,
            on_change=_pick,
        )


def _take() -> None:
    """Look for what is typed, and take it where only one car can be meant."""
    snapshot = caches.snapshot()
    if snapshot is None:
        return
    search = _search(snapshot)
    found = search.find(st.session_state[_BOX])
    st.session_state[_OFFERED] = {car.words: car for car in found}
    meant = search.meant(found)
    if meant is not None:
        _choose(meant)


def _search(snapshot: Snapshot) -> CarSearch:
    names = caches.offered_names(snapshot)
    return snapshot.by_records.get("car search", lambda: CarSearch.of(names))


def _pick() -> None:
    picked = st.session_state.pop(_PICKED, None)
    car = st.session_state.get(_OFFERED, {}).get(picked)
    if car is not None:
        _choose(car)


def _choose(car: FoundCar) -> None:
    """Put a found car into the fields; the year stays as long as the model does, unless one was typed."""
    state: Any = st.session_state
    same = (state.get("make"), state.get("model")) == (car.make, car.model)
    if car.year is not None or not same:
        state["year"] = car.year
    state["make"], state["model"], state["variant"] = car.make, car.model, car.variant
