"""Who looks at the dashboard, and what their role lets them do: people who sign in where that is set up, else
holders of tokens, else whoever the door has let in from this machine."""

import os

import streamlit as st

from dashboards import caches
from dashboards.serving.door import signing_in as signing_in
from dashboards.serving.door import token_in
from pricing.operations.access import ROLES, allowed
from pricing.operations.configuration import variable
from pricing.operations.serving import MANAGERS_VARIABLE
from pricing.operations.settings import settings_of
from pricing.store.audit import now
from pricing.store.kept.tokens import Token, digest_of


def person() -> str | None:
    """The address that signed in, or whose token it is; nobody's where neither is asked for."""
    if signing_in() is None:
        token = _token()
        return None if token is None else token.name
    address = st.user.get("email") if st.user.get("is_logged_in") else None
    verified = st.user.get("email_verified", True) is not False
    return str(address) if address and verified else ""


def may(act: str) -> bool:
    """Whether this person may read, load, appraise or manage."""
    snapshot = caches.snapshot()
    if signing_in() is None:
        token = _token()
        if token is not None:
            return token.role in ROLES and act in ROLES[token.role]
        return os.environ.get(variable("access")) != "tokens"
    roles = {} if snapshot is None else settings_of(snapshot).roles
    managers = [name for name in os.environ.get(MANAGERS_VARIABLE, "").split(",") if name]
    return allowed(person(), act, roles, managers)


def show_door() -> bool:
    """Ask to sign in where that is needed; whether the person may come in."""
    unknown = signing_in() is not None and not st.user.get("is_logged_in")
    if not unknown and may("read"):
        return True
    st.title("Classic car prices")
    if unknown:
        st.write("Sign in to see this market.")
        st.button("Sign in", type="primary", on_click=st.login)
    else:
        st.warning("You are signed in, and have no role in this market; whoever manages it can give you one.")
        show_way_out("door")
    return False


def _token() -> Token | None:
    sent, snapshot = token_in(st.context.headers), caches.snapshot()
    token = None if sent is None or snapshot is None else snapshot.state.tokens.get(digest_of(sent))
    return token if token is None or token.expires_at is None or token.expires_at > now() else None


def show_way_out(place: str) -> None:
    """A button to sign out, for whoever has signed in."""
    address = None if signing_in() is None else person()
    if address is not None:
        st.button("Sign out", key=f"sign-out-{place}", type="tertiary", help=address, on_click=st.logout)
