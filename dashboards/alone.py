"""The dashboard without the API as an ASGI application, which `pricing dashboard` runs. Little is imported,
so that it answers at once; the pages are read with their first visitor."""

import os
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Final

import streamlit as st
from starlette.middleware import Middleware
from starlette.types import ASGIApp

from dashboards.door import Door, signing_in
from dashboards.garage import Garage
from dashboards.handbook_first import HandbookFirst
from pricing.api.problems import HttpProblemError
from pricing.operations.configuration import Configuration, configuration, variable
from pricing.store.kept.tokens import Token

PAGES: Final = Path(__file__).with_name("app.py")


def from_environment() -> ASGIApp:
    """The dashboard, configured by the environment."""
    settings = configuration()
    opens: Callable[..., Awaitable[Token]] = _nothing
    if settings.access == "tokens":
        from pricing.api.callers import holder
        from pricing.api.service import Service

        opens = partial(holder, Service(settings))
    app: ASGIApp = st.App(
        PAGES, middleware=[Middleware(HandbookFirst), door(settings, opens), Middleware(Garage)]
    )
    return app


def door(settings: Configuration, opens: Callable[..., Awaitable[Token]]) -> Middleware:
    """The door; the pages are told in the environment who is let in. Whether people sign in is asked later:
    secrets read before `st.App` would have Streamlit look for its settings in the current folder."""
    os.environ[variable("access")] = settings.access
    return Middleware(Door, settings=settings, opens=opens, signing_in=signing_in)


async def _nothing(*_: object) -> Token:
    raise HttpProblemError(401, "this server trusts its own machine alone, and asks for no tokens")
