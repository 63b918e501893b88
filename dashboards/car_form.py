"""The form that describes a car; what is entered lives in the page's address."""

from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches
from pricing.documents.sentences import option_words
from pricing.vocabulary import (
    CHANNELS,
    CONDITION_BANDS,
    DISTANCE_UNITS,
    DRIVE_SIDES,
    MATCHING_NUMBERS,
    OPTION_CODES,
)

_BOUND: Final[dict[str, Any]] = {"bind": "query-params", "persist_state": "session"}

_OPTIONS: Final = {option_words(code): code for code in OPTION_CODES}


def ask_car(state: caches.MarketState) -> tuple[dict[str, Any], Decimal | None] | None:
    """Ask for a car and its asking price; nothing while make, model or year are missing."""
    names = caches.names(state)
    first, second, third = st.columns(3)
    with first:
        make = _choice("Make", "make", names["make"].unique(maintain_order=True).to_list())
        models = names.filter(pl.col("make") == pl.lit(make, dtype=pl.String))
        model = _choice("Model", "model", models["model"].unique(maintain_order=True).to_list())
        variants = models.filter(pl.col("model") == pl.lit(model, dtype=pl.String))["variant"].drop_nulls()
        variant = _choice("Variant", "variant", variants.to_list(), help="Leave empty when not known.")
    with second:
        year = st.number_input("Model year", 1885, 2100, None, 1, key="year", placeholder="as 1968", **_BOUND)
        band = _choice(
            "Condition band",
            "condition_band",
            list(CONDITION_BANDS),
            help="Worst first. Leave empty when the car has not been graded.",
        )
        options = st.multiselect("Options", list(_OPTIONS), key="options", placeholder="none", **_BOUND)
    with third:
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
            **_BOUND,
        )
        odometer = st.number_input(
            "Odometer",
            0.0,
            None,
            None,
            1000.0,
            format="%.0f",
            key="odometer",
            placeholder="not known",
            **_BOUND,
        )
        unit = st.selectbox("Odometer unit", list(DISTANCE_UNITS), key="odometer_unit", **_BOUND)
    more = _ask_more(state)
    if not make or not model or year is None:
        return None
    car = {
        "make": make,
        "model": model,
        "variant": variant,
        "year": year,
        "condition_band": band,
        "odometer_km": None if odometer is None else odometer * DISTANCE_UNITS[unit],
        "options": [_OPTIONS[words] for words in options],
        **more,
    }
    return car, None if asking is None else Decimal(str(asking))


def _ask_more(state: caches.MarketState) -> dict[str, Any]:
    """What is said of a car less often."""
    with st.expander("More about the car"):
        first, second, third = st.columns(3)
        with first:
            score = st.number_input(
                "Condition score (0 to 100)", 0.0, 100.0, None, 1.0, key="condition_score", **_BOUND
            )
            matching = _choice("Matching numbers", "matching_numbers", list(MATCHING_NUMBERS))
            history = _choice("History file", "history_file", ["yes", "no"])
        with second:
            channel = _choice("Where it is offered", "channel", list(CHANNELS))
            country = _choice("Country (ISO 3166)", "country", caches.values(state, "country"))
            drive = _choice("Side of the steering wheel", "drive_side", list(DRIVE_SIDES))
        with third:
            body = _choice("Body style", "body_style", caches.values(state, "body_style"))
            chassis = st.text_input(
                "Chassis number", None, 500, key="chassis_number", help="Finds earlier sales of it.", **_BOUND
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
    return st.selectbox(label, choices, None, key=key, help=help, placeholder="not said", **_BOUND)
