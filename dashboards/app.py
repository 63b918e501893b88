"""The dashboard's pages and the frame around them: started by `pricing dashboard`."""

from typing import Final

import streamlit as st
from polars.exceptions import PanicException

from dashboards import (
    appraisals,
    buying,
    caches,
    comparables,
    inspection,
    kept_cars,
    market,
    mending,
    opinions,
    page_layout,
    people,
    position,
    records,
    scores,
    selling,
    setting,
    steps,
    url_state,
)
from pricing.words.reader import read_by

st.set_page_config(page_title="Classic car prices", layout="wide", initial_sidebar_state="collapsed")
START: Final = "Where it sits"
PAGES: Final = {
    "position": st.Page(position.show_page, title=START, url_path="start", default=True),
    "kept": st.Page(kept_cars.show_page, title="Cars you keep", url_path="kept"),
    "inspect": st.Page(inspection.show_page, title="Inspect", url_path="inspect"),
    "mend": st.Page(mending.show_page, title="Mend or buy better", url_path="mend"),
    "comparables": st.Page(comparables.show_page, title="Comparable sales", url_path="comparables"),
    "buy": st.Page(buying.show_page, title="Buy", url_path="buy"),
    "sell": st.Page(selling.show_page, title="Sell", url_path="sell"),
    "appraisals": st.Page(appraisals.show_page, title="Appraisals", url_path="appraisals"),
    "market": st.Page(market.show_page, title="Market", url_path="market"),
    "opinions": st.Page(opinions.show_page, title="What people say", url_path="opinions"),
    "records": st.Page(records.show_page, title="Records", url_path="records"),
    "scores": st.Page(scores.show_page, title="How good are these numbers", url_path="scores"),
    "settings": st.Page(setting.show_page, title="Settings", url_path="settings"),
}
# The start page stands at the server's own address, and here under a name as all others have one.
NAMED: Final = st.Page(position.show_page, title=START, url_path="position")
page_layout.know_pages(PAGES)
read_by(st.context.locale)
if people.show_door():
    page = st.navigation([*PAGES.values(), NAMED], position="hidden")
    came = url_state.take(page.url_path)
    page_layout.show_style()
    there = page_layout.going()
    if there is not None:
        st.switch_page(there, query_params=url_state.query())
    menu = st.container()
    if came:
        with menu:
            page_layout.show_menu(page)
    steps.show_steps(next((name for name, other in PAGES.items() if other.url_path == page.url_path), ""))
    try:
        page.run()
    except (Exception, PanicException) as error:  # nobody foresaw it; a PricingError its page has shown
        page_layout.show_failure(error)
    finally:
        if not came:  # it stands there from before, and the answer to a changed field goes first
            with menu:
                page_layout.show_menu(page)
    url_state.give()
    caches.settle()
