"""The dashboard's pages and the frame around them: started by `pricing dashboard`."""

from typing import Final

import streamlit as st
from polars.exceptions import PanicException

from dashboards import caches, page_layout, pages, people, url_state
from pricing.charts.design import style_sheet
from pricing.words.language.reader import read_by

st.set_page_config(page_title="Classic car prices", layout="wide", initial_sidebar_state="collapsed")
PAGES: Final = {
    name: st.Page(page.show, title=page.title, url_path=page.path, default=name == pages.START)
    for name, page in pages.PAGES.items()
}
# The start page stands at the server's own address, and here under a name as all others have one.
_START: Final = pages.PAGES[pages.START]
NAMED: Final = st.Page(_START.show, title=_START.title, url_path=pages.START)
page_layout.know_pages(PAGES)
read_by(st.context.locale)
if people.show_door():
    page = st.navigation([*PAGES.values(), NAMED], position="hidden")
    came = url_state.take(page.url_path)
    st.html(f"<style>{style_sheet()}</style>")
    there = page_layout.going()
    if there is not None:
        st.switch_page(there, query_params=url_state.query())
    menu = st.container()
    if came:
        with menu:
            page_layout.show_menu(page)
    page_layout.show_steps(page)
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
