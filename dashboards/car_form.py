"""The form that describes a car; what is entered lives in the address, and goes along from page to page."""

from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.url_state import field_key, held_to, within
from pricing.car import Car, today
from pricing.car_fields import FIELDS, NEEDED
from pricing.errors import CarError
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.vocabulary import DISTANCE_UNITS, OPTION_CODES
from pricing.words.glossary import what_is
from pricing.words.plain_text import closed, escaped
from pricing.words.sentences import car_words, option_words

KEPT: Final[dict[str, Any]] = {"persist_state": "session"}
"""Of a field that many pages have; ``address`` writes it into the address."""

_OPTIONS: Final = {option_words(code): code for code in OPTION_CODES}

_OPEN: Final = "car_form_open"
"""Session state: whether the form is unfolded, settled on a visitor's first page, so that it does not fold
away under the hand."""

_CHOOSE: Final = "Choose a make and a model and give the model year to see what such a car sells for."


def ask_car(snapshot: Snapshot) -> tuple[Car, Decimal | None] | None:
    """Ask for a car and its asking price; nothing, and the reason, where what is entered makes none.

    What changes the answer most stands open; the rest is folded away once the car is known.
    """
    came = _OPEN not in st.session_state
    car, reason = _entered(snapshot)  # before fields forget what they cannot hold
    form = st.container()
    first, second = st.columns(2)
    with first:
        _choice("condition_band", help=what_is("condition band"))
    with second:
        within("asking", 1.0, None)
        asking = st.number_input(
            f"Asking price ({snapshot.base_currency}, all-in)",
            1.0,
            None,
            None,
            50.0,
            format="%.0f",
            key="asking",
            placeholder="if one is asked",
            help="All that a buyer would pay, premium and tax included.",
            **KEPT,
        )
    _ask_details(snapshot, form, car)
    if car is None:
        forgotten = not all(st.session_state.get(name) for name in NEEDED)
        st.info(escaped(_CHOOSE if forgotten and not came else reason))
        return None
    return car, None if asking is None else Decimal(str(asking))


def _entered(snapshot: Snapshot) -> tuple[Car | None, str]:
    """The car that the fields or a link tell of, or why it is none."""
    entered = {name: st.session_state.get(field_key(name)) for name in FIELDS}
    if not any(entered[name] for name in NEEDED):
        return None, _CHOOSE
    entered["options"] = [_OPTIONS.get(words, words) for words in entered["options"] or ()]
    if entered["odometer_km"] is not None:
        entered["odometer_km"] *= DISTANCE_UNITS.get(st.session_state.get("odometer_unit", "km"), 1.0)
    try:
        return Car.checked(entered, known=snapshot.names()), ""
    except CarError as error:
        return None, closed(str(error))


def _ask_details(snapshot: Snapshot, form: Any, car: Car | None) -> None:
    """The fields that fold away under the car in one line."""
    folded = st.session_state.setdefault(_OPEN, car is None)
    title = (
        "Which car is it?"
        if car is None
        else escaped(car_words(car.to_dict() | {"condition_band": "the car"}))
    )
    with form.expander(title, expanded=folded, key="car-form"):
        held = (st.session_state.get(name) for name in ("make", "model", "variant"))
        names = caches.offered_names(snapshot, *held)
        first, second, third = st.columns(3)
        with first:
            make = _choice("make", names["make"].unique(maintain_order=True).to_list())
            models = names.filter(pl.col("make") == pl.lit(make, dtype=pl.String))
            model = _choice("model", models["model"].unique(maintain_order=True).to_list())
        with second:
            _number("year", "Model year", 1, placeholder="as 1968")
            of_model = models.filter(pl.col("model") == pl.lit(model, dtype=pl.String))
            _choice("variant", of_model["variant"].drop_nulls().to_list(), help="Leave empty when not known.")
        with third:
            held_to("options", list(_OPTIONS))
            st.multiselect(
                "Options", list(_OPTIONS), key="options", placeholder="none", help=what_is("option"), **KEPT
            )
            _ask_odometer(snapshot)
        _ask_more(snapshot)


def _ask_odometer(snapshot: Snapshot) -> None:
    if "odometer_unit" not in st.session_state:
        said = st.session_state.get("odometer") is not None  # a link without a unit says kilometres
        st.session_state["odometer_unit"] = "km" if said else settings_of(snapshot).distance_unit
    held_to("odometer_unit", list(DISTANCE_UNITS))
    reading, unit_of = st.columns(2)
    with reading:
        _number("odometer_km", "Odometer", 1000.0, unbounded=True, format="%.0f", placeholder="not known")
    with unit_of:
        st.selectbox("Odometer unit", list(DISTANCE_UNITS), key="odometer_unit", **KEPT)


def _ask_more(snapshot: Snapshot) -> None:
    """What is said of a car less often."""
    first, second, third = st.columns(3)
    with first:
        _number("condition_score", "Condition score (0 to 100)", 1.0, help=what_is("condition score"))
        _choice("matching_numbers", label="Matching numbers", help=what_is("matching numbers"))
        _choice("history_file", ["yes", "no"], label="History file")
    with second:
        _choice("channel")
        _choice("country", caches.values(snapshot, "country"), label="Country (ISO 3166)")
        _choice("drive_side")
    with third:
        _choice("body_style", caches.values(snapshot, "body_style"), label="Body style")
        st.text_input(
            "Chassis number", None, 500, key="chassis_number", help="Finds earlier sales of it.", **KEPT
        )


def _number(name: str, label: str, step: float, *, unbounded: bool = False, **shown: Any) -> None:
    """A number within its field's bounds; of a reading in another unit there is no upper one."""
    field = FIELDS[name]
    kind = int if field.kind == "whole" else float
    most = None if unbounded else today().year + 1 if name == "year" else field.most
    least = 0.0 if field.least is None else field.least
    within(field_key(name), least, most)
    st.number_input(
        label, kind(least), None if most is None else kind(most), None, kind(step), key=field_key(name),
        **shown, **KEPT,
    )  # fmt: skip


def _choice(
    name: str, choices: list[str] | None = None, *, label: str | None = None, help: str | None = None
) -> str | None:
    """A choice among the words of a field, or among what is on record."""
    asks, words = FIELDS[name].asks.split(",")[0], list(FIELDS[name].words) if choices is None else choices
    held_to(name, words)
    shown = f"{asks[0].upper()}{asks[1:].removesuffix(' of the model')}" if label is None else label
    return st.selectbox(shown, words, None, key=name, help=help, placeholder="not said", **KEPT)
