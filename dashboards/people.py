"""Who looks at the dashboard, and what their role lets them do; nobody signs in unless that is set up."""

import os

import streamlit as st

from dashboards import caches
from pricing.operations.access import allowed
from pricing.operations.serving import MANAGERS_VARIABLE
from pricing.operations.settings import settings_of


def signing_in() -> bool:
    """Whether a provider of sign-in (OpenID Connect) is set up in Streamlit's secrets."""
    try:
        return "auth" in st.secrets
    except FileNotFoundError:
        return False


def person() -> str | None:
    """The address that signed in; nobody's where people do not sign in."""
    if not signing_in():
        return None
    found = st.user.get("email") if st.user.get("is_logged_in") else None
    verified = st.user.get("email_verified", True) is not False
    return str(found) if found and verified else ""


def may(act: str) -> bool:
    """Whether this person may read, load, appraise or manage."""
    snapshot = caches.snapshot()
    roles = {} if snapshot is None else settings_of(snapshot).roles
    managers = [name for name in os.environ.get(MANAGERS_VARIABLE, "").split(",") if name]
    return allowed(person(), act, roles, managers)


def show_door() -> bool:
    """Ask to sign in where that is needed; whether the person may come in."""
    if not signing_in():
        return True
    if not st.user.get("is_logged_in"):
        st.title("Classic car prices")
        st.write("Sign in to see this market.")
        st.button("Sign in", type="primary", on_click=st.login)
        return False
    if may("read"):
        return True
    st.title("Classic car prices")
    st.warning("You are signed in, and have no role in this market; whoever manages it can give you one.")
    show_way_out("door")
    return False


def show_way_out(place: str) -> None:
    """A button to sign out, for whoever has signed in."""
    found = person()
    if found is not None:
        st.button("Sign out", key=f"sign-out-{place}", type="tertiary", help=found, on_click=st.logout)
