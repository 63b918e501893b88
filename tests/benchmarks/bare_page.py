"""A bare page of the framework, which the dashboard is measured beside: one field, one number, one chart."""

import polars as pl
import streamlit as st

chosen = st.radio("Which of these?", ("average", "project", "top condition"), key="chosen")
st.title("Bare")
st.metric("low", "1")
st.metric("mid", {"average": "2,500", "project": "2,000"}.get(chosen, "3,000"))
frame = pl.DataFrame({"price": [1, 2, 3], "cars": [2, 5, {"average": 2, "project": 3}.get(chosen, 1)]})
st.vega_lite_chart(
    frame,
    {
        "mark": "bar",
        "height": 430,
        "encoding": {"x": {"field": "price"}, "y": {"field": "cars", "type": "quantitative"}},
    },
)
