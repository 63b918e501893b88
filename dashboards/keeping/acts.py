"""What is noted of a kept car: prices, notes, photographs, links, its sale; and deleting it."""

from collections.abc import Callable
from functools import partial
from typing import Any

import streamlit as st

from dashboards import caches, page_layout
from dashboards.asking.typed_fields import ask_day, ask_money
from dashboards.inspecting import sheets
from pricing.car import today
from pricing.decisions.kept_car import KeptCarToday, facts_seen
from pricing.operations.kept_sales import record_sale
from pricing.operations.photographs import cleaned_photo
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import LONGEST_NAME, LONGEST_NOTES
from pricing.untrusted.photographs import LARGEST
from pricing.vocabulary import CHANNELS
from pricing.words.language.countries import country_words


def ask_changes(snapshot: Snapshot, one: KeptCarToday) -> None:
    """Everything that may be noted of a kept car, folded."""
    folded = st.expander(
        "Note a price, change, add photographs, record its sale", key=f"change-{one.kept.car_id}"
    )
    with folded, page_layout.one_sentence():
        _ask_price(snapshot, one)
        _ask_words(snapshot, one)
        _ask_links(snapshot, one)
        _ask_photos(snapshot, one)
        if one.kept.sold_as is None:
            _ask_sale(snapshot, one)
        _ask_look(snapshot, one)
        _ask_deleting(snapshot, one)


def _offer(label: str, key: str, act: Callable[[], Any], *, disabled: bool = False) -> None:
    """A button; once its act is done the page is drawn anew."""
    if st.button(label, key=key, disabled=disabled):
        act()
        st.rerun()


def _ask_price(snapshot: Snapshot, one: KeptCarToday) -> None:
    car_id, store, currency = one.kept.car_id, snapshot.market.kept_cars, snapshot.base_currency
    asking = ask_money("Asked for it today", f"note-{car_id}", "asking price", snapshot)

    def note() -> None:
        if asking is not None:
            store.note_price(car_id, asking, currency, today())

    _offer("Note this price", f"noted-{car_id}", note, disabled=asking is None)


def _ask_words(snapshot: Snapshot, one: KeptCarToday) -> None:
    kept, change = one.kept, snapshot.market.kept_cars.change
    name = st.text_input("Name", kept.name, LONGEST_NAME, key=f"name-{kept.car_id}")
    notes = st.text_area("Notes", kept.notes, max_chars=LONGEST_NOTES, key=f"notes-{kept.car_id}")
    _offer("Keep name and notes", f"keep-{kept.car_id}", lambda: change(kept.car_id, name=name, notes=notes))


def _ask_links(snapshot: Snapshot, one: KeptCarToday) -> None:
    """The inspection in hand, and an appraisal of the market."""
    kept, change = one.kept, snapshot.market.kept_cars.change
    sheet = sheets.name()
    if sheet is not None and sheet != kept.sheet:
        label = "The inspection just made is of this car"
        _offer(label, f"sheet-{kept.car_id}", lambda: change(kept.car_id, sheet=sheet))
    known = caches.appraisals(snapshot)["appraisal_id"].to_list()
    if known:
        place = known.index(kept.appraisal_id) if kept.appraisal_id in known else None
        key = f"appraisal-{kept.car_id}"
        chosen = st.selectbox("Its appraisal", known, place, key=key, placeholder="none")
        if chosen != kept.appraisal_id:
            change(kept.car_id, appraisal_id=chosen)
            st.rerun()


def _ask_photos(snapshot: Snapshot, one: KeptCarToday) -> None:
    kept, store = one.kept, snapshot.market.kept_cars
    car_id = kept.car_id
    photo = st.file_uploader(
        "Add a photograph",
        type=["jpg", "jpeg", "png", "webp"],
        max_upload_size=LARGEST // 1_000_000,
        key=f"photo-{car_id}",
    )
    if photo is not None:
        content = photo.getvalue()
        _offer(
            "Keep the photograph",
            f"photo-kept-{car_id}",
            lambda: store.add_photo(car_id, cleaned_photo(content)),
        )
    with st.container(horizontal=True):
        for number in store.photo_numbers(car_id):
            with st.container(width=160):
                words = f"{kept.name}, photograph {number}"
                st.image(store.photo(car_id, number), caption=words, alt=words)
                delete = partial(store.delete_photo, car_id, number)
                _offer(f"Delete photograph {number}", f"unphoto-{car_id}-{number}", delete)


def _ask_sale(snapshot: Snapshot, one: KeptCarToday) -> None:
    """The sale of a kept car, which becomes a sale record."""
    kept = one.kept
    st.markdown("**When it is sold**, the sale becomes a record of this market:")
    paid = ask_money("Sold for (all that the buyer paid)", f"sold-{kept.car_id}", "price paid", snapshot)
    first, second, third = st.columns(3)
    channel = first.selectbox("Where", CHANNELS, CHANNELS.index("private"), key=f"channel-{kept.car_id}")
    countries = caches.values(snapshot, "country")
    own = str(kept.car.get("country") or settings_of(snapshot).country)
    country = second.selectbox(
        "Country", countries, countries.index(own) if own in countries else None,
        format_func=country_words, key=f"sold-in-{kept.car_id}",
    )  # fmt: skip
    with third:
        on = ask_day("On", today(), max_value=today(), key=f"sold-on-{kept.car_id}")
    pressed = st.button("Record the sale", key=f"sell-{kept.car_id}", disabled=paid is None)
    if pressed and paid is not None and on is not None:
        record_sale(
            snapshot.market, kept, str(paid), channel=str(channel), country=str(country or own),
            day=on.isoformat(),
        )  # fmt: skip
        st.rerun()


def _ask_look(snapshot: Snapshot, one: KeptCarToday) -> None:
    seen = None if one.valuation is None else facts_seen(one.valuation)
    pressed = st.button("Tell changes from today on", key=f"look-{one.kept.car_id}", disabled=seen is None)
    if pressed and seen is not None:
        snapshot.market.kept_cars.look(one.kept.car_id, seen)
        st.rerun()


def _ask_deleting(snapshot: Snapshot, one: KeptCarToday) -> None:
    car_id = one.kept.car_id
    sure = st.checkbox("Delete it with its prices and photographs, for good", key=f"sure-{car_id}")
    _offer("Delete", f"delete-{car_id}", lambda: snapshot.market.kept_cars.delete(car_id), disabled=not sure)
