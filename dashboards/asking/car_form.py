"""What is asked of a car: one box to find it, its condition, the price asked; the rest folds away. What is
entered lives in the address, and goes along from page to page."""

from collections.abc import Callable, Mapping
from contextlib import nullcontext
from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.asking.car_search_box import ask_search
from dashboards.asking.typed_fields import (
    ask_money,
    ask_number,
    ask_typed,
    ask_year,
    read_model_year,
    read_number,
)
from dashboards.url_state import SHARED, field_key, held_to
from pricing.car import Car
from pricing.car_fields import FIELDS, NEEDED
from pricing.errors import CarError, PricingError
from pricing.intake.written.distances import read_distance
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.vocabulary import CONDITION_BANDS, DISTANCE_UNITS, OPTION_CODES
from pricing.words.condition import BAND_LOOKS
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import capital, escaped, sentence
from pricing.words.sentences import car_words, name_words, option_words

_OPTIONS: Final = {option_words(code): code for code in OPTION_CODES}

_SEEN: Final = "car_form_seen"
"""Session state: whether a visitor has had the form before them, and is not just coming by a link."""

_CHOOSE: Final = "Type which car it is, such as 66 sedge, or choose its make and model from the lists."
_YEAR: Final = "Say which model year it is, and the answer comes."


def ask_car(snapshot: Snapshot, *, first: bool = False) -> tuple[Car, Decimal | None] | None:
    """Ask for a car and the price asked for it; nothing, and the reason, where what is entered makes none.

    On the ``first`` page all that matters most stands open, on the others it is folded away under the car.
    """
    state: Any = st.session_state
    came = not state.get(_SEEN)
    state[_SEEN] = True
    car, reason = _entered(snapshot)  # before fields forget what they cannot hold
    title = "Which car is it?" if car is None else escaped(car_words(car.to_dict()))
    folded = st.container() if first else st.expander(title, expanded=car is None, key="car-form")
    lacks_year = bool(state.get("make") and state.get("model")) and car is None
    with folded:
        named = bool(state.get("make") or state.get("model"))
        ask_search(name_words({name: state.get(name) for name in FIELDS}) if named else None)
        if lacks_year:
            _ask_year()
        held_to("condition_band", list(CONDITION_BANDS))
        st.container(key="condition").radio(  # none is chosen for anybody
            "Which of these looks like it?",
            CONDITION_BANDS,
            None,
            format_func=str.capitalize,
            captions=list(BAND_LOOKS.values()),
            key="condition_band",
            help=what_is("condition band"),
            **SHARED,
        )
    with folded if first else nullcontext():
        asking = ask_money(
            f"Price asked ({snapshot.base_currency}, all-in)",
            "asking",
            "asking price",
            snapshot,
            help="All that a buyer would pay, premium and tax included. Leave it empty when none is asked.",
            **SHARED,
        )
    with folded:
        more = st.expander("More about the car", key="car-more", on_change="rerun") if first else None
        if more is None or more.open or (named and car is None):  # a browser draws all fields that are sent
            with more or st.container():
                _ask_details(snapshot, with_year=not lacks_year)
    if car is None:
        missing = [name for name in NEEDED if not state.get(name)]
        wanted = _YEAR if missing == ["year"] else _CHOOSE if missing else sentence(reason)
        st.info(escaped(sentence(reason) if came and reason else wanted))
        return None
    return car, asking


def _ask_year() -> None:
    ask_year("Model year", "year", placeholder="as 1968 or 68", **SHARED)


def _entered(snapshot: Snapshot) -> tuple[Car | None, str]:
    """The car that the fields or a link tell of, or why it is none."""
    entered = {name: st.session_state.get(field_key(name)) for name in FIELDS}
    if not any(entered[name] for name in NEEDED):
        return None, ""
    entered["options"] = [_OPTIONS.get(words, words) for words in entered["options"] or ()]
    entered["odometer_km"] = _kilometres(str(entered["odometer_km"] or ""))
    entered["year"] = _read(read_model_year, entered["year"])
    entered["condition_score"] = _read(lambda text: read_number(text, "score"), entered["condition_score"])
    try:
        return Car.checked(entered, known=snapshot.names()), ""
    except CarError as error:
        return None, str(error)


def _read(read: Callable[[str], Any], typed: Any) -> Any:
    """What a field of text says; nothing where it cannot be read, which is told under the field."""
    try:
        return None if typed in (None, "") else read(str(typed))
    except PricingError:
        return None


def _kilometres(text: str) -> float | None:
    """A reading as it is typed, in the unit beside it unless it says its own; one below nought stays so, to
    be refused as it is everywhere."""
    unit = st.session_state.get("odometer_unit") or "km"
    typed = text.strip()
    size = typed.lstrip("-\N{MINUS SIGN}")
    distance = read_distance(size, unit if unit in DISTANCE_UNITS else "km") if size else None
    return None if distance is None else float(distance[0]) * (1.0 if size == typed else -1.0)


def _ask_details(snapshot: Snapshot, *, with_year: bool) -> None:
    names = caches.offered_names(
        snapshot, *(st.session_state.get(name) for name in ("make", "model", "variant"))
    )
    first, second, third = st.columns(3)
    with first:
        make = ask_name("make", names)
        model = ask_name("model", names, {"make": make})
    with second:
        if with_year:
            _ask_year()
        chosen = {"make": make, "model": model}
        ask_name("variant", names, chosen, help="Leave it empty when not known.")
    with third:
        held_to("options", list(_OPTIONS))
        st.multiselect(
            "Options", list(_OPTIONS), key="options", placeholder="none", help=what_is("option"), **SHARED
        )
        _ask_odometer(snapshot)
    first, second, third = st.columns(3)
    with first:
        ask_number(
            "Condition score (0 to 100)", "condition_score", "condition score", 0, 100,
            help=what_is("condition score"), **SHARED,
        )  # fmt: skip
        _ask_choice("matching_numbers", label="Matching numbers", help=what_is("matching numbers"))
        _ask_choice("history_file", ["yes", "no"], label="History file")
    with second:
        _ask_choice("channel")
        countries = caches.values(snapshot, "country")
        _ask_choice("country", countries, label="Country", format_func=country_words)
        _ask_choice("drive_side")
    with third:
        _ask_choice("body_style", caches.values(snapshot, "body_style"), label="Body style")
        chassis: dict[str, Any] = {"key": "chassis_number", "help": "Finds earlier sales of it."}
        st.text_input("Chassis number", None, 500, **chassis, **SHARED)
    left_open = ({"condition_band": None},)
    st.button("Leave the condition open", on_click=st.session_state.update, args=left_open, type="tertiary")


def _ask_odometer(snapshot: Snapshot) -> None:
    if "odometer_unit" not in st.session_state:
        by_link = st.session_state.get("odometer") is not None  # a link without a unit says kilometres
        st.session_state["odometer_unit"] = "km" if by_link else settings_of(snapshot).distance_unit
    held_to("odometer_unit", list(DISTANCE_UNITS))
    reading, unit = st.columns(2)
    with reading:
        ask_typed("Odometer", "odometer", _read_odometer, placeholder="as 61,000", **SHARED)
    unit.selectbox("Odometer unit", list(DISTANCE_UNITS), key="odometer_unit", **SHARED)


def _read_odometer(text: str) -> float:
    kilometres = _kilometres(text)
    if kilometres is None:
        raise CarError(
            f"the odometer reading is no number: got {text!r}; type it as 61,000 or 61k, or leave it empty"
        )
    return kilometres


def ask_name(
    name: str, names: pl.DataFrame, within: Mapping[str, str | None] | None = None, **options: Any
) -> str | None:
    """A make, a model or a variant among the ``names`` on record, ``within`` those chosen before."""
    for column, value in (within or {}).items():
        names = names.filter(pl.col(column) == pl.lit(value, dtype=pl.String))
    return _ask_choice(name, names[name].drop_nulls().unique(maintain_order=True).to_list(), **options)


def _ask_choice(
    name: str, choices: list[str] | None = None, *, label: str | None = None, **options: Any
) -> str | None:
    """A choice among the words of a field, or among what is on record."""
    words = list(FIELDS[name].words) if choices is None else choices
    held_to(name, words)
    if label is None:
        label = capital(FIELDS[name].asks.split(",")[0]).removesuffix(" of the model")
    return st.selectbox(label, words, None, key=name, **{"placeholder": "not said"} | options, **SHARED)
