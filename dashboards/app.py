"""The dashboard's pages and the frame around them: started by `pricing dashboard`."""

import streamlit as st

from dashboards import frame, inspection, position, records, sheets

st.set_page_config(page_title="Classic car prices", layout="wide", initial_sidebar_state="collapsed")
PAGES = {
    "position": st.Page(position.show_page, title="Where does this car sit", url_path="position", default=True),
    "inspect": st.Page(inspection.show_page, title="Inspect", url_path="inspect"),
    "records": st.Page(records.show_page, title="Records", url_path="records"),
}
frame.know_pages(PAGES)
sheets.carry()
page = st.navigation(list(PAGES.values()), position="top")
frame.show_menu(page)
page.run()
