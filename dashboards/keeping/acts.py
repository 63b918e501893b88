"""What is noted of a kept car: prices, notes, photographs, links, its sale; and deleting it."""

import streamlit as st

from dashboards import caches, page_layout
from dashboards.asking.typed_fields import ask_day, ask_money
from dashboards.inspecting import sheets
from pricing.car import today
from pricing.decisions.kept_car import KeptCarToday, facts_seen
from pricing.operations.kept_cars import cleaned_photo, record_sale
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


def _ask_price(snapshot: Snapshot, one: KeptCarToday) -> None:
    car_id = one.kept.car_id
    asked = ask_money("Asked for it today", f"note-{car_id}", "asking price", snapshot)
    pressed = st.button("Note this price", key=f"noted-{car_id}", disabled=asked is None)
    if pressed and asked is not None:
        snapshot.market.kept_cars.note_price(car_id, asked, snapshot.base_currency, today())
        st.rerun()


def _ask_words(snapshot: Snapshot, one: KeptCarToday) -> None:
    kept = one.kept
    name = st.text_input("Name", kept.name, LONGEST_NAME, key=f"name-{kept.car_id}")
    notes = st.text_area("Notes", kept.notes, max_chars=LONGEST_NOTES, key=f"notes-{kept.car_id}")
    if st.button("Keep name and notes", key=f"keep-{kept.car_id}"):
        snapshot.market.kept_cars.change(kept.car_id, name=name, notes=notes)
        st.rerun()


def _ask_links(snapshot: Snapshot, one: KeptCarToday) -> None:
    """The inspection in hand, and an appraisal of the market."""
    kept, store = one.kept, snapshot.market.kept_cars
    in_hand = sheets.name()
    if in_hand is not None and in_hand != kept.sheet:
        if st.button("The inspection just made is of this car", key=f"sheet-{kept.car_id}"):
            store.change(kept.car_id, sheet=in_hand)
            st.rerun()
    known = caches.appraisals(snapshot)["appraisal_id"].to_list()
    if known:
        chosen = st.selectbox(
            "Its appraisal",
            known,
            known.index(kept.appraisal_id) if kept.appraisal_id in known else None,
            key=f"appraisal-{kept.car_id}",
            placeholder="none",
        )
        if chosen != kept.appraisal_id:
            store.change(kept.car_id, appraisal_id=chosen)
            st.rerun()


def _ask_photos(snapshot: Snapshot, one: KeptCarToday) -> None:
    kept, store = one.kept, snapshot.market.kept_cars
    photo = st.file_uploader(
        "Add a photograph",
        type=["jpg", "jpeg", "png", "webp"],
        max_upload_size=LARGEST // 1_000_000,
        key=f"photo-{kept.car_id}",
    )
    if photo is not None and st.button("Keep the photograph", key=f"photo-kept-{kept.car_id}"):
        store.add_photo(kept.car_id, cleaned_photo(photo.getvalue()))
        st.rerun()
    with st.container(horizontal=True):
        for number in store.photo_numbers(kept.car_id):
            with st.container(width=160):
                words = f"{kept.name}, photograph {number}"
                st.image(store.photo(kept.car_id, number), caption=words, alt=words)
                if st.button(f"Delete photograph {number}", key=f"unphoto-{kept.car_id}-{number}"):
                    store.delete_photo(kept.car_id, number)
                    st.rerun()


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
    if st.button("Delete", key=f"delete-{car_id}", disabled=not sure):
        snapshot.market.kept_cars.delete(car_id)
        st.rerun()
