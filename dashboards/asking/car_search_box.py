"""One box in which a car is typed in any way; what it may mean, put into the fields that every page asks a
car by, of a kept one with what is linked to it."""

from collections.abc import Mapping
from typing import Any, Final

import streamlit as st
from rapidfuzz import fuzz

from dashboards import caches
from dashboards.inspecting import sheets
from dashboards.url_state import field_key
from pricing.car_names import CarSearch, FoundCar
from pricing.decisions.kept_car import asked_last
from pricing.errors import MoneyError
from pricing.nearest import folded
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import KeptCar
from pricing.words.language.plain_text import escaped

LIKE_A_NAME: Final = 85.0
"""Likeness (0-100) of what is typed to a part of the name that a car is kept under."""

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
    offered: dict[str, FoundCar | KeptCar] = st.session_state.get(_OFFERED, {})
    if not typed:
        return
    if not offered:
        st.info(
            escaped(
                f"Nothing like '{typed}' is on record. Type the make or the model alone, or choose it "
                "from the lists under More about the car."
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
    names = caches.offered_names(snapshot)
    search = snapshot.by_records.get("car search", lambda: CarSearch.of(names))
    matches = search.find(st.session_state[_BOX])
    kept_cars = _kept_cars(snapshot, st.session_state[_BOX])
    offered = {f"{car.name} (kept)": car for car in kept_cars} | {car.words: car for car in matches}
    st.session_state[_OFFERED] = offered
    meant = search.meant(matches)
    if meant is not None and not kept_cars:
        _choose(meant)


def _kept_cars(snapshot: Snapshot, typed: str) -> list[KeptCar]:
    wanted = folded(typed)
    if len(wanted) <= 1:
        return []
    kept_cars = snapshot.by_write.get("kept cars", snapshot.market.kept_cars.all)
    return [car for car in kept_cars if fuzz.partial_ratio(wanted, folded(car.name)) >= LIKE_A_NAME][:3]


def _pick() -> None:
    picked = st.session_state.pop(_PICKED, None)
    car = st.session_state.get(_OFFERED, {}).get(picked)
    snapshot = caches.snapshot()
    if isinstance(car, KeptCar) and snapshot is not None:
        take_up_kept(snapshot, car)
    elif isinstance(car, FoundCar):
        _choose(car)


def _choose(car: FoundCar) -> None:
    """Put a car of the records into the fields; the year stays as long as the model does, unless one was
    typed."""
    state: Any = st.session_state
    same = (state.get("make"), state.get("model")) == (car.make, car.model)
    if car.year is not None or not same:
        state["year"] = car.year
    state["make"], state["model"], state["variant"] = car.make, car.model, car.variant


def take_up_kept(snapshot: Snapshot, kept_car: KeptCar) -> None:
    """Put a kept car into the fields of every page, with what was asked last for it, its inspection, and the
    name that choices of comparable sales are kept under."""
    try:
        asking, _ = asked_last(snapshot, snapshot.market.kept_cars.prices(kept_car.car_id))
    except MoneyError:  # the page of kept cars says that no rate is known
        asking = None
    put_in_fields(kept_car.car)
    sheets.take_up(kept_car.sheet)
    st.session_state["asking"] = None if asking is None else f"{asking:.0f}"
    st.session_state["subject"] = kept_car.subject or kept_car.name


def put_in_fields(car: Mapping[str, Any]) -> None:
    """Fill the fields of a car, as ``Car.to_dict`` has it, before they are drawn; what it lacks is
    emptied."""
    state: Any = st.session_state
    for name, value in car.items():
        if name == "options":
            state["options"] = [str(part).replace("_", " ") for part in value or []]
        elif name == "odometer_km":
            state["odometer"] = None if value is None else f"{value:.0f}"
            state["odometer_unit"] = "km"
        elif name == "history_file":
            state[name] = None if value is None else "yes" if value else "no"
        else:
            state[field_key(name)] = value
