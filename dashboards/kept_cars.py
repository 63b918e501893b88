"""Cars that you keep: what each is worth today, what changed and why, side by side, asking prices over
time."""

from datetime import date
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import page_layout, people, sheets
from dashboards.car_in_hand import put_in_hand
from dashboards.exhibits import show_chart, show_table
from dashboards.typed_fields import ask_money
from pricing.car import Car, today
from pricing.charts.kept_cars import prices_caption, prices_chart
from pricing.decisions.kept_car import KeptCarToday, facts_seen, kept_car_today
from pricing.errors import PricingError
from pricing.operations.kept_sales import exported, record_sale
from pricing.operations.photographs import cleaned_photo
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import LONGEST_NAME, LONGEST_NOTES
from pricing.vocabulary import CHANNELS
from pricing.words.kept_cars import asked_sentence, change_sentence, comparison, today_sentence
from pricing.words.plain_text import escaped, sentence
from pricing.words.sentences import car_words

_LOOKED: Final = "kept_cars_looked"
MOST_COMPARED: Final = 4


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
                "You keep no car yet. Find one on the first page and press Keep this car: it is then "
                "listed here "
                "with what it is worth today."
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
        _compare(todays)
        _export(snapshot)


def _show(snapshot: Snapshot, one: KeptCarToday) -> None:
    """A kept car as a card: the money first."""
    with st.container(key=f"card-{one.kept.car_id}"):
        st.header(escaped(one.kept.name))
        st.markdown(f"**{escaped(today_sentence(one))}**")
        st.write(escaped(car_words(dict(one.kept.car))))
        asked = asked_sentence(one, settings_of(snapshot).verdict_limits)
        for words in (asked, change_sentence(one.change, snapshot.base_currency), one.kept.notes or None):
            if words is not None:
                st.write(escaped(words))
        if one.kept.sold_as is not None:
            st.caption(escaped(f"Sold: it became the record {one.kept.sold_as}."))
        _remember(snapshot, one)
        store = snapshot.market.kept_cars
        for number in store.photo_numbers(one.kept.car_id)[-3:]:
            content = store.photo(one.kept.car_id, number)
            st.image(content, caption=f"Photograph {number} of {one.kept.name}", width=160)
        prices = snapshot.market.kept_cars.prices(one.kept.car_id)
        if prices.height > 1:
            show_chart(prices_chart(prices), prices_caption(prices), f"asked for {one.kept.car_id}")
        with st.container(horizontal=True):
            st.button("Price it", key=f"open-{one.kept.car_id}", on_click=_take_up, args=(one,))
            if one.kept.sheet:
                page_layout.link("inspect", "Its inspection")
        if people.may("load"):
            _ask_changes(snapshot, one)


def _remember(snapshot: Snapshot, one: KeptCarToday) -> None:
    """Count this as the first look of the visit, after which later changes are told."""
    looked = st.session_state.setdefault(_LOOKED, set())
    if one.kept.car_id in looked or one.valuation is None or not people.may("load"):
        return
    looked.add(one.kept.car_id)
    seen = facts_seen(one.valuation)
    if seen is not None and one.kept.seen is None:
        snapshot.market.kept_cars.look(one.kept.car_id, seen)


def _take_up(one: KeptCarToday) -> None:
    """Put a kept car into the fields of every page."""
    put_in_hand(one.kept.car, None if one.asked is None else f"{one.asked:.0f}")
    if one.kept.sheet:
        sheets.take_up(one.kept.sheet)
    page_layout.go_to("position")


def _ask_changes(snapshot: Snapshot, one: KeptCarToday) -> None:
    """Prices, notes, photographs, the sale, and deleting it."""
    kept, store = one.kept, snapshot.market.kept_cars
    with st.expander("Note, change or delete", key=f"change-{kept.car_id}"):
        asked = ask_money("Asked for it today", f"note-{kept.car_id}", "asking price", snapshot)
        if (
            st.button("Note this price", key=f"noted-{kept.car_id}", disabled=asked is None)
            and asked is not None
        ):
            store.note_price(kept.car_id, asked, snapshot.base_currency, today())
            st.rerun()
        name = st.text_input("Name", kept.name, LONGEST_NAME, key=f"name-{kept.car_id}")
        notes = st.text_area("Notes", kept.notes, max_chars=LONGEST_NOTES, key=f"notes-{kept.car_id}")
        if st.button("Keep name and notes", key=f"keep-{kept.car_id}"):
            store.change(kept.car_id, name=name, notes=notes)
            st.rerun()
        photo = st.file_uploader(
            "Photograph", type=["jpg", "jpeg", "png", "webp"], key=f"photo-{kept.car_id}"
        )
        if photo is not None and st.button("Keep the photograph", key=f"photo-kept-{kept.car_id}"):
            store.add_photo(kept.car_id, cleaned_photo(photo.getvalue()))
            st.rerun()
        if kept.sold_as is None:
            _ask_sale(snapshot, one)
        if st.button("Count today as the last look", key=f"look-{kept.car_id}") and one.valuation is not None:
            seen = facts_seen(one.valuation)
            if seen is not None:
                store.look(kept.car_id, seen)
            st.rerun()
        sure = st.checkbox("Delete it with its prices and photographs, for good", key=f"sure-{kept.car_id}")
        if st.button("Delete", key=f"delete-{kept.car_id}", disabled=not sure):
            store.delete(kept.car_id)
            st.rerun()


def _ask_sale(snapshot: Snapshot, one: KeptCarToday) -> None:
    """The sale of a kept car, which becomes a sale record."""
    kept = one.kept
    paid = ask_money("It was sold for (all-in)", f"sold-{kept.car_id}", "price paid", snapshot)
    channel = st.selectbox(
        "Where it was sold", CHANNELS, CHANNELS.index("private"), key=f"channel-{kept.car_id}"
    )
    on = st.date_input("On", today(), max_value=today(), key=f"sold-on-{kept.car_id}")
    pressed = st.button("Record the sale", key=f"sell-{kept.car_id}", disabled=paid is None)
    if pressed and paid is not None and isinstance(on, date):
        country = str(kept.car.get("country") or settings_of(snapshot).country)
        record_sale(
            snapshot.market, kept, str(paid), channel=str(channel), country=country, day=on.isoformat()
        )
        st.rerun()


def _compare(todays: list[KeptCarToday]) -> None:
    """Two to four cars side by side."""
    if len(todays) < 2:
        return
    st.header("Side by side")
    by_name = {one.kept.name: one for one in todays}
    chosen = st.multiselect(
        "Which cars", list(by_name), list(by_name)[:2], max_selections=MOST_COMPARED, key="compared"
    )
    if len(chosen) < 2:
        st.caption("Choose two to four cars.")
        return
    rows = comparison([by_name[name] for name in chosen])
    show_table(pl.DataFrame(rows), "side by side", {"fact": "", "differs": "Differs"}, height="content")


def _export(snapshot: Snapshot) -> None:
    import json

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
        name = st.text_input("What do you call it?", max_chars=LONGEST_NAME, key="keep_name")
        notes = st.text_area("Notes", max_chars=LONGEST_NOTES, key="keep_notes")
        if st.button("Keep it", disabled=not name.strip()):
            with page_layout.one_sentence():
                store = snapshot.market.kept_cars
                links = {"sheet": sheets.name(), "subject": st.session_state.get("subject")}
                car_id = store.keep(name, car.to_dict(), notes, **links)
                if asking is not None:
                    store.note_price(car_id, asking, snapshot.base_currency, today())
                st.success("It is kept: see Cars you keep.")
