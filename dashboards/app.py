"""The dashboard's pages and its frame: started by `pricing dashboard`."""

import streamlit as st

from dashboards import position, records

st.set_page_config(page_title="Classic car prices", layout="wide", initial_sidebar_state="collapsed")
page = st.navigation(
    [
        st.Page(position.show_page, title="Where does this car sit", url_path="position", default=True),
        st.Page(records.show_page, title="Records", url_path="records"),
    ],
    position="top",
)
page.run()
