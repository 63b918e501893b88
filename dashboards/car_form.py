"""The form that describes a car; what is entered lives in the address, and goes along from page to page."""

from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.address import held_to, within
from pricing.vocabulary import (
    CHANNELS,
    CONDITION_BANDS,
    DISTANCE_UNITS,
    DRIVE_SIDES,
    MATCHING_NUMBERS,
    OPTION_CODES,
)
from pricing.words.glossary import what_is
from pricing.words.plain_text import escaped
from pricing.words.sentences import car_words, option_words

KEPT: Final[dict[str, Any]] = {"persist_state": "session"}
"""Of a field that many pages have; ``address`` writes it into the address."""

_OPTIONS: Final = {option_words(code): code for code in OPTION_CODES}

_OPEN: Final = "car_form_open"
"""Session state: whether the form is unfolded, settled on a visitor's first page, so that it does not fold
away under the hand."""


def ask_car(state: caches.MarketState) -> tuple[dict[str, Any], Decimal | None] | None:
    """Ask for a car and its asking price; nothing while make, model or year are missing.

    What changes the answer most stands open; the rest is folded away once the car is known.
    """
    form = st.container()
    first, second = st.columns(2)
    with first:
        band = _choice(
            "Condition band", "condition_band", list(CONDITION_BANDS), help=what_is("condition band")
        )
    with second:
        within("asking", 1.0, None)
        asking = st.number_input(
            f"Asking price ({state.base_currency}, all-in)",
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
    car = _ask_details(state, form, band)
    if car is None:
        st.info("Choose a make and a model and give the model year to see what such a car sells for.")
        return None
    return car, None if asking is None else Decimal(str(asking))


def _ask_details(state: caches.MarketState, form: Any, band: str | None) -> dict[str, Any] | None:
    """The fields that fold away under the car in one line."""
    said = {name: st.session_state.get(name) for name in ("make", "model", "variant", "year")}
    complete = all(said[name] for name in ("make", "model", "year"))
    folded = st.session_state.setdefault(_OPEN, not complete)
    title = escaped(car_words({**said, "condition_band": "the car"})) if complete else "Which car is it?"
    with form.expander(title, expanded=folded, key="car-form"):
        names = caches.names(state)
        first, second, third = st.columns(3)
        with first:
            make = _choice("Make", "make", names["make"].unique(maintain_order=True).to_list())
            models = names.filter(pl.col("make") == pl.lit(make, dtype=pl.String))
            model = _choice("Model", "model", models["model"].unique(maintain_order=True).to_list())
        with second:
            within("year", 1885, 2100)
            year = st.number_input(
                "Model year", 1885, 2100, None, 1, key="year", placeholder="as 1968", **KEPT
            )
            of_model = models.filter(pl.col("model") == pl.lit(model, dtype=pl.String))
            variant = _choice(
                "Variant",
                "variant",
                of_model["variant"].drop_nulls().to_list(),
                help="Leave empty when not known.",
            )
        with third:
            held_to("options", list(_OPTIONS))
            options = st.multiselect(
                "Options", list(_OPTIONS), key="options", placeholder="none", help=what_is("option"), **KEPT
            )
            odometer_km = _ask_odometer(state)
        more = _ask_more(state)
    if not make or not model or year is None:
        return None
    return {
        "make": make,
        "model": model,
        "variant": variant,
        "year": year,
        "condition_band": band,
        "odometer_km": odometer_km,
        "options": [_OPTIONS[words] for words in options],
        **more,
    }


def _ask_odometer(state: caches.MarketState) -> float | None:
    if "odometer_unit" not in st.session_state:
        said = st.session_state.get("odometer") is not None  # a link without a unit says kilometres
        st.session_state["odometer_unit"] = "km" if said else caches.settings(state).distance_unit
    held_to("odometer_unit", list(DISTANCE_UNITS))
    within("odometer", 0.0, None)
    reading, unit_of = st.columns(2)
    with reading:
        odometer = st.number_input(
            "Odometer",
            0.0,
            None,
            None,
            1000.0,
            format="%.0f",
            key="odometer",
            placeholder="not known",
            **KEPT,
        )
    with unit_of:
        unit = st.selectbox("Odometer unit", list(DISTANCE_UNITS), key="odometer_unit", **KEPT)
    return None if odometer is None else odometer * DISTANCE_UNITS[unit]


def _ask_more(state: caches.MarketState) -> dict[str, Any]:
    """What is said of a car less often."""
    first, second, third = st.columns(3)
    within("condition_score", 0.0, 100.0)
    with first:
        score = st.number_input(
            "Condition score (0 to 100)",
            0.0,
            100.0,
            None,
            1.0,
            key="condition_score",
            help=what_is("condition score"),
            **KEPT,
        )
        matching = _choice(
            "Matching numbers", "matching_numbers", list(MATCHING_NUMBERS), help=what_is("matching numbers")
        )
        history = _choice("History file", "history_file", ["yes", "no"])
    with second:
        channel = _choice("Where it is offered", "channel", list(CHANNELS))
        country = _choice("Country (ISO 3166)", "country", caches.values(state, "country"))
        drive = _choice("Side of the steering wheel", "drive_side", list(DRIVE_SIDES))
    with third:
        body = _choice("Body style", "body_style", caches.values(state, "body_style"))
        chassis = st.text_input(
            "Chassis number", None, 500, key="chassis_number", help="Finds earlier sales of it.", **KEPT
        )
    return {
        "condition_score": score,
        "matching_numbers": matching,
        "history_file": None if history is None else history == "yes",
        "channel": channel,
        "country": country,
        "drive_side": drive,
        "body_style": body,
        "chassis_number": chassis or None,
    }


def _choice(label: str, key: str, choices: list[str], help: str | None = None) -> str | None:
    held_to(key, choices)
    return st.selectbox(label, choices, None, key=key, help=help, placeholder="not said", **KEPT)
