"""A whole car put into the fields that every page asks it by."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboards.url_state import field_key


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
