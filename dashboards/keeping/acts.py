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
from pricing.store.kept.cars import LONGEST_NAME, LONGEST_NOTES, KeptCar, StoredCars
from pricing.untrusted.photographs import LARGEST
from pricing.vocabulary import CHANNELS
from pricing.words.language.countries import country_words


def ask_changes(snapshot: Snapshot, one: KeptCarToday) -> None:
    """Everything that may be noted of a kept car, folded."""
    folded = st.expander(
        "Note a price, change, add photographs, record its sale", key=f"change-{one.kept.car_id}"
    )
    kept_car, store = one.kept, snapshot.market.kept_cars
    car_id = kept_car.car_id
    with folded, page_layout.one_sentence():
        asking = ask_money("Asked for it today", f"note-{car_id}", "asking price", snapshot)
        if (
            st.button("Note this price", key=f"noted-{car_id}", disabled=asking is None)
            and asking is not None
        ):
            store.note_price(car_id, asking, snapshot.base_currency, today())
            st.rerun()
        name = st.text_input("Name", kept_car.name, LONGEST_NAME, key=f"name-{car_id}")
        notes = st.text_area("Notes", kept_car.notes, max_chars=LONGEST_NOTES, key=f"notes-{car_id}")
        if st.button("Keep name and notes", key=f"keep-{car_id}"):
            store.change(car_id, name=name, notes=notes)
            st.rerun()
        _ask_links(snapshot, kept_car)
        _ask_photos(store, kept_car)
        if kept_car.sold_as is None:
            _ask_sale(snapshot, kept_car)
        seen = None if one.valuation is None else facts_seen(one.valuation)
        pressed = st.button("Tell changes from today on", key=f"look-{car_id}", disabled=seen is None)
        if pressed and seen is not None:
            store.look(car_id, seen)
            st.rerun()
        sure = st.checkbox("Delete it with its prices and photographs, for good", key=f"sure-{car_id}")
        if st.button("Delete", key=f"delete-{car_id}", disabled=not sure):
            store.delete(car_id)
            st.rerun()


def _ask_links(snapshot: Snapshot, kept_car: KeptCar) -> None:
    change, sheet = snapshot.market.kept_cars.change, sheets.name()
    if sheet is not None and sheet != kept_car.sheet:
        if st.button("The inspection just made is of this car", key=f"sheet-{kept_car.car_id}"):
            change(kept_car.car_id, sheet=sheet)
            st.rerun()
    known = caches.appraisals(snapshot)["appraisal_id"].to_list()
    if known:
        place = known.index(kept_car.appraisal_id) if kept_car.appraisal_id in known else None
        key = f"appraisal-{kept_car.car_id}"
        chosen = st.selectbox("Its appraisal", known, place, key=key, placeholder="none")
        if chosen != kept_car.appraisal_id:
            change(kept_car.car_id, appraisal_id=chosen)
            st.rerun()


def _ask_photos(store: StoredCars, kept_car: KeptCar) -> None:
    car_id = kept_car.car_id
    photo = st.file_uploader(
        "Add a photograph",
        type=["jpg", "jpeg", "png", "webp"],
        max_upload_size=LARGEST // 1_000_000,
        key=f"photo-{car_id}",
    )
    if photo is not None and st.button("Keep the photograph", key=f"photo-kept-{car_id}"):
        store.add_photo(car_id, cleaned_photo(photo.getvalue()))
        st.rerun()
    with st.container(horizontal=True):
        for number in store.photo_numbers(car_id):
            with st.container(width=160):
                words = f"{kept_car.name}, photograph {number}"
                st.image(store.photo(car_id, number), caption=words, alt=words)
                if st.button(f"Delete photograph {number}", key=f"unphoto-{car_id}-{number}"):
                    store.delete_photo(car_id, number)
                    st.rerun()


def _ask_sale(snapshot: Snapshot, kept_car: KeptCar) -> None:
    st.markdown("**When it is sold**, the sale becomes a record of this market:")
    paid = ask_money("Sold for (all that the buyer paid)", f"sold-{kept_car.car_id}", "price paid", snapshot)
    first, second, third = st.columns(3)
    channel = first.selectbox("Where", CHANNELS, CHANNELS.index("private"), key=f"channel-{kept_car.car_id}")
    countries = caches.values(snapshot, "country")
    own = str(kept_car.car.get("country") or settings_of(snapshot).country)
    country = second.selectbox(
        "Country", countries, countries.index(own) if own in countries else None,
        format_func=country_words, key=f"sold-in-{kept_car.car_id}",
    )  # fmt: skip
    with third:
        on = ask_day("On", today(), max_value=today(), key=f"sold-on-{kept_car.car_id}")
    pressed = st.button("Record the sale", key=f"sell-{kept_car.car_id}", disabled=paid is None)
    if pressed and paid is not None and on is not None:
        record_sale(
            snapshot.market, kept_car, str(paid), channel=str(channel), country=str(country or own),
            day=on.isoformat(),
        )  # fmt: skip
        st.rerun()
