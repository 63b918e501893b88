"""Cars that you keep: what each is worth today, what changed and why, side by side, asking prices over
time."""

import json
from typing import Any, Final

import streamlit as st

from dashboards import page_layout, people
from dashboards.asking.car_in_hand import take_up_kept
from dashboards.exhibits import show_chart
from dashboards.inspecting import sheets
from dashboards.keeping.acts import ask_changes
from dashboards.keeping.side_by_side import show_side_by_side
from pricing.car import Car, today
from pricing.charts.kept_cars import prices_caption, prices_chart
from pricing.decisions.kept_car import KeptCarToday, facts_seen, kept_car_today
from pricing.errors import PricingError
from pricing.operations.kept_cars import exported
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import LONGEST_NAME, LONGEST_NOTES
from pricing.words.kept_cars import asked_sentence, change_sentence, known_today, range_today
from pricing.words.language.plain_text import escaped, sentence
from pricing.words.sentences import car_words

_LOOKED: Final = "kept_cars_looked"


def show_page() -> None:
    """Every kept car, and what can be done with it."""
    st.title("Cars you keep")
    with page_layout.one_sentence():
        market = page_layout.ask_market()
        if market is None:
            return
        snapshot, _ = market
        kept = snapshot.market.kept_cars.all()
        if not kept:
            st.info(
                "You keep no car yet. Find one on the first page and press Keep this car: it is then listed "
                "here with what it is worth today."
            )
            page_layout.link("position", "Find a car")
            return
        todays = []
        for car in kept:
            try:
                todays.append(kept_car_today(snapshot, snapshot.market, car))
            except PricingError as error:
                st.error(escaped(sentence(f"{car.name}: {error}; change it, or delete it")))
        for one in todays:
            _show(snapshot, one)
        show_side_by_side(todays)
        _export(snapshot)


def _show(snapshot: Snapshot, one: KeptCarToday) -> None:
    """A kept car as a card: the money first."""
    store, car_id = snapshot.market.kept_cars, one.kept.car_id
    photos = store.photo_numbers(car_id)
    with st.container(key=f"card-{car_id}"):
        told, seen = st.columns([3, 1]) if photos else (st.container(), None)
        with told:
            _tell(snapshot, one)
        if seen is not None:
            words = f"{one.kept.name}, photograph {photos[-1]}"
            seen.image(store.photo(car_id, photos[-1]), caption=words, alt=words)
        prices = store.prices(car_id)
        if prices.height > 1:
            show_chart(prices_chart(prices), prices_caption(prices), f"asked for {car_id}")
        _show_ways(snapshot, one)
        if people.may("load"):
            ask_changes(snapshot, one)


def _tell(snapshot: Snapshot, one: KeptCarToday) -> None:
    """What a kept car is, what it is worth, and what changed."""
    st.header(escaped(one.kept.name))
    st.markdown(f"**{escaped(range_today(one))}**")
    asked = asked_sentence(one, settings_of(snapshot).verdict_limits)
    for words in (
        car_words(dict(one.kept.car)),
        asked,
        known_today(one),
        change_sentence(one.change, snapshot.base_currency),
        one.kept.notes or None,
    ):
        if words is not None:
            st.write(escaped(words))
    if one.kept.sold_as is not None:
        st.write(escaped(f"Sold: its sale is the record {one.kept.sold_as}."))
    _remember(snapshot, one)


def _show_ways(snapshot: Snapshot, one: KeptCarToday) -> None:
    """Where to go with a kept car: each page takes it up with what is linked to it."""
    car_id = one.kept.car_id
    ways = {
        "position": "Price it",
        "inspect": "Its inspection" if one.kept.sheet else "Inspect it",
        "comparables": "Its comparable sales",
    }
    with st.container(horizontal=True, vertical_alignment="center"):
        for page, words in ways.items():
            st.button(words, key=f"{page}-{car_id}", on_click=_take_up, args=(snapshot, one, page))
        if one.kept.appraisal_id:
            page_layout.link("appraisals", "Its appraisal", appraisal=one.kept.appraisal_id)


def _take_up(snapshot: Snapshot, one: KeptCarToday, page: str) -> None:
    """Put a kept car into the fields of every page, and go to one."""
    take_up_kept(snapshot, one.kept)
    if people.may("load") and page == "comparables" and one.kept.subject is None:
        snapshot.market.kept_cars.change(one.kept.car_id, subject=one.kept.name)
    page_layout.go_to(page)


def _remember(snapshot: Snapshot, one: KeptCarToday) -> None:
    """Count this as the first look of the visit, after which later changes are told."""
    looked = st.session_state.setdefault(_LOOKED, set())
    if one.kept.car_id in looked or one.valuation is None or not people.may("load"):
        return
    looked.add(one.kept.car_id)
    seen = facts_seen(one.valuation)
    if seen is not None and one.kept.seen is None:
        snapshot.market.kept_cars.look(one.kept.car_id, seen)


def _export(snapshot: Snapshot) -> None:
    text = json.dumps(exported(snapshot.market), indent=2, default=str)
    st.download_button(
        "Take all of it along (JSON)", text, "kept_cars.json", "application/json", on_click="ignore"
    )
    st.caption("Kept cars stay in this market. Nothing of them leaves the machine that it is on.")


def offer_keeping(snapshot: Snapshot, car: Car, asking: Any) -> None:
    """On the first page: keep the car that is shown."""
    if not people.may("load"):
        return
    with st.popover("Keep this car", type="primary"):
        name = st.text_input(
            "What do you call it?", max_chars=LONGEST_NAME, key="keep_name", placeholder="as the green one"
        )
        notes = st.text_area("Notes", max_chars=LONGEST_NOTES, key="keep_notes")
        if st.button("Keep it", disabled=not name.strip()):
            with page_layout.one_sentence():
                store = snapshot.market.kept_cars
                links = {"sheet": sheets.name(), "subject": st.session_state.get("subject")}
                car_id = store.keep(name, car.to_dict(), notes, **links)
                if asking is not None:
                    store.note_price(car_id, asking, snapshot.base_currency, today())
                st.success("It is kept: see Cars you keep.")
