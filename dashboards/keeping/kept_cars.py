"""Cars that you keep: what each is worth today, what changed and why, asking prices over time; two to four of
them side by side, a row a fact, what differs marked by more than colour."""

import json
from collections.abc import Sequence
from html import escape
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import people
from dashboards.asking.car_search_box import take_up_kept
from dashboards.downloads import offer_file, offer_table
from dashboards.exhibits import show_chart
from dashboards.inspecting import sheets
from dashboards.keeping.acts import ask_changes
from dashboards.page_layout import ask_market, go_to, link, one_sentence, page
from dashboards.text import write
from pricing.car import Car, today
from pricing.charts.kept_cars import prices_caption, prices_chart
from pricing.decisions.kept_car import KeptCarToday, facts_seen, kept_car_today
from pricing.errors import PricingError
from pricing.model.price_model import PriceModel
from pricing.operations.kept_cars import exported
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import LONGEST_NAME, LONGEST_NOTES
from pricing.words.kept_cars import asked_sentence, change_sentence, comparison, known_today, range_today
from pricing.words.language.plain_text import escaped, sentence
from pricing.words.sentences import car_words

MOST_COMPARED: Final = 4


@page("Cars you keep", ask_market)
def show_page(market: tuple[Snapshot, PriceModel]) -> None:
    """Every kept car, and what can be done with it."""
    snapshot, _ = market
    kept_cars = snapshot.market.kept_cars.all()
    if not kept_cars:
        st.info(
            "You keep no car yet. Find one on the first page and press Keep this car: it is then listed "
            "here with what it is worth today."
        )
        link("position", "Find a car")
        return
    todays = []
    for car in kept_cars:
        try:
            todays.append(kept_car_today(snapshot, car, snapshot.market.kept_cars.prices(car.car_id)))
        except PricingError as error:
            st.error(escaped(sentence(f"{car.name}: {error}; change it, or delete it")))
    for one in todays:
        _show(snapshot, one)
    _show_side_by_side(todays)
    text = json.dumps(exported(snapshot.market), indent=2, default=str)
    offer_file("Take all of it along (JSON)", text, "kept_cars.json", "application/json")
    st.caption("Kept cars stay in this market. Nothing of them leaves the machine that it is on.")


def _show(snapshot: Snapshot, one: KeptCarToday) -> None:
    """A kept car as a card: the money first."""
    store, car_id = snapshot.market.kept_cars, one.kept.car_id
    photos = store.photo_numbers(car_id)
    with st.container(key=f"card-{car_id}"):
        facts, picture = st.columns([3, 1]) if photos else (st.container(), None)
        with facts:
            _show_facts(snapshot, one)
        if picture is not None:
            words = f"{one.kept.name}, photograph {photos[-1]}"
            picture.image(store.photo(car_id, photos[-1]), caption=words, alt=words)
        prices = store.prices(car_id)
        if prices.height > 1:
            show_chart(prices_chart(prices), prices_caption(prices), f"asked for {car_id}")
        _show_ways(snapshot, one)
        if people.may("load"):
            ask_changes(snapshot, one)


def _show_facts(snapshot: Snapshot, one: KeptCarToday) -> None:
    """What a kept car is, what it is worth, and what changed."""
    st.header(escaped(one.kept.name))
    st.markdown(f"**{escaped(range_today(one))}**")
    sold_as = one.kept.sold_as
    write(
        car_words(dict(one.kept.car)),
        asked_sentence(one, settings_of(snapshot).verdict_limits),
        known_today(one),
        change_sentence(one.change, snapshot.base_currency),
        one.kept.notes or None,
        None if sold_as is None else f"Sold: its sale is the record {sold_as}.",
    )
    seen = None if one.valuation is None else facts_seen(one.valuation)
    if seen is not None and one.kept.seen is None and people.may("load"):
        snapshot.market.kept_cars.look(one.kept.car_id, seen)  # the first, after which changes are told


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
            link("appraisals", "Its appraisal", appraisal=one.kept.appraisal_id)


def _take_up(snapshot: Snapshot, one: KeptCarToday, page: str) -> None:
    """Put a kept car into the fields of every page, and go to one."""
    take_up_kept(snapshot, one.kept)
    if people.may("load") and page == "comparables" and one.kept.subject is None:
        snapshot.market.kept_cars.change(one.kept.car_id, subject=one.kept.name)
    go_to(page)


def _show_side_by_side(todays: list[KeptCarToday]) -> None:
    if len(todays) < 2:
        return
    st.header("Side by side")
    by_name = {one.kept.name: one for one in todays}
    chosen = st.multiselect(
        "Which cars", list(by_name), list(by_name)[:2], max_selections=MOST_COMPARED, key="compared"
    )
    if len(chosen) < 2:
        st.info("Choose two to four cars: they are then shown side by side.")
        return
    rows = comparison([by_name[name] for name in chosen])
    st.html(as_comparison(rows, chosen))
    offer_table("side by side", pl.DataFrame(rows))


def as_comparison(rows: Sequence[dict[str, Any]], names: Sequence[str]) -> str:
    """The rows of ``comparison`` as a table, which a phone shows fact by fact.

    >>> row = {"fact": "Year", "differs": "differs", "a": "1966", "b": "1971"}
    >>> '<small>differs</small>' in as_comparison([row], ["a", "b"])
    True
    """
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in names)
    body = ""
    for row in rows:
        mark, kind = (" <small>differs</small>", ' class="differs"') if row["differs"] else ("", "")
        cells = "".join(f'<td data-car="{escape(name)}">{escape(str(row[name]))}</td>' for name in names)
        body += f'<tr{kind}><th scope="row">{escape(row["fact"])}{mark}</th>{cells}</tr>'
    return f'<table class="side"><thead><tr><td></td>{heads}</tr></thead><tbody>{body}</tbody></table>'


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
            with one_sentence():
                store = snapshot.market.kept_cars
                links = {"sheet": sheets.name(), "subject": st.session_state.get("subject")}
                car_id = store.keep(name, car.to_dict(), notes, **links)
                if asking is not None:
                    store.note_price(car_id, asking, snapshot.base_currency, today())
                st.success("It is kept: see Cars you keep.")
