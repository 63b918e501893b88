"""A whole car put into the fields that every page asks it by; a kept one with what is linked to it."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboards.inspecting import sheets
from dashboards.url_state import field_key
from pricing.decisions.kept_car import asked_last
from pricing.errors import MoneyError
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import KeptCar


def put_in_hand(car: Mapping[str, Any], asking: str | None = None) -> None:
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
    state["asking"] = asking


def take_up_kept(snapshot: Snapshot, kept: KeptCar) -> None:
    """Put a kept car into the fields of every page, with what was asked last for it, its inspection, and the
    name that choices of comparable sales are kept under."""
    try:
        asked, _ = asked_last(snapshot, snapshot.market, kept)
    except MoneyError:  # the page of kept cars says that no rate is known
        asked = None
    put_in_hand(kept.car, None if asked is None else f"{asked:.0f}")
    sheets.take_up(kept.sheet)
    st.session_state["subject"] = kept.subject or kept.name
