"""What stands in the address: taken once, held to what its fields can hold, written back."""

from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

SCRIPT = """
import streamlit as st
from dashboards import url_state
url_state.take(st.session_state.get("where", "one"))
url_state.held_to("condition_band", ["average"])
url_state.give()
"""


def visit(**params: Any) -> AppTest:
    page = AppTest.from_string(SCRIPT)
    for name, value in params.items():
        page.query_params[name] = value
    return page.run()


def test_an_address_is_taken_once_and_given_back() -> None:
    page = visit(year="1966", asking="4650", options=["overdrive", "servo brakes"], make="Wexcombe")
    assert not page.exception
    assert page.session_state["year"] == "1966"
    assert page.session_state["asking"] == "4650"
    assert page.session_state["options"] == ["overdrive", "servo brakes"]
    page.session_state["asking"] = "5000"
    page.session_state["make"] = None
    page.run()
    assert page.query_params["asking"] in ("5000", ["5000"])
    assert "make" not in page.query_params
    page.session_state["where"] = "two"
    page.run()
    assert page.query_params["year"] in ("1966", ["1966"])


@pytest.mark.parametrize(
    ("name", "value"),
    [("condition_band", "new")],
)
def test_what_no_field_can_hold_is_forgotten(name: str, value: str) -> None:
    page = visit(**{name: value})
    assert not page.exception
    assert name not in page.session_state or page.session_state[name] is None
    assert name not in page.query_params


def test_the_browsers_own_buttons_bring_back_what_an_address_says() -> None:
    page = visit(year="1966", asking="4650")
    page.session_state["asking"] = "5000"
    page.run()
    page.query_params["asking"] = "4650"  # as the browser goes back; nobody has touched a field
    page.run()
    assert page.session_state["asking"] == "4650"
    del page.query_params["asking"]
    page.run()
    assert page.session_state["asking"] is None
    assert page.session_state["year"] == "1966"
