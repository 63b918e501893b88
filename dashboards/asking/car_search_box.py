"""One box in which a car is typed in any way, and what it may mean."""

from typing import Any, Final

import streamlit as st
from rapidfuzz import fuzz

from dashboards import caches
from dashboards.asking.car_in_hand import take_up_kept
from pricing.car_names import CarSearch, FoundCar
from pricing.nearest import folded
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import KeptCar
from pricing.words.language.plain_text import escaped

_BOX: Final = "search"
_OFFERED: Final = "search_offered"
LIKE_A_NAME: Final = 85.0
"""Likeness (0-100) of what is typed to a part of the name that a car is kept under."""

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
    offered: dict[str, FoundCar | KeptCar] = st.session_state.get(_OFFERED, {})
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
    kept = _kept(snapshot, st.session_state[_BOX])
    st.session_state[_OFFERED] = {f"{car.name} (kept)": car for car in kept} | {
        car.words: car for car in found
    }
    meant = search.meant(found)
    if meant is not None and not kept:
        _choose(meant)


def _search(snapshot: Snapshot) -> CarSearch:
    names = caches.offered_names(snapshot)
    return snapshot.by_records.get("car search", lambda: CarSearch.of(names))


def _kept(snapshot: Snapshot, typed: str) -> list[KeptCar]:
    """The cars that are kept under a name like what is typed."""
    wanted = folded(typed)
    kept = snapshot.by_write.get("kept cars", snapshot.market.kept_cars.all) if len(wanted) > 1 else []
    return [car for car in kept if fuzz.partial_ratio(wanted, folded(car.name)) >= LIKE_A_NAME][:3]


def _pick() -> None:
    picked = st.session_state.pop(_PICKED, None)
    car = st.session_state.get(_OFFERED, {}).get(picked)
    snapshot = caches.snapshot()
    if isinstance(car, KeptCar) and snapshot is not None:
        take_up_kept(snapshot, car)
    elif isinstance(car, FoundCar):
        _choose(car)


def _choose(car: FoundCar) -> None:
    """Put a found car into the fields; the year stays as long as the model does, unless one was typed."""
    state: Any = st.session_state
    same = (state.get("make"), state.get("model")) == (car.make, car.model)
    if car.year is not None or not same:
        state["year"] = car.year
    state["make"], state["model"], state["variant"] = car.make, car.model, car.variant
