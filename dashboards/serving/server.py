"""The dashboard and the JSON API in one ASGI application, which `pricing serve`, `pricing dashboard` and any
ASGI server can run."""

import logging.config
import os
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any, Final

import streamlit as st
from starlette.middleware import Middleware
from starlette.types import ASGIApp

from dashboards.serving.beside import Beside, api_first, garage, handbook
from dashboards.serving.door import Door, signing_in
from dashboards.serving.readiness import make_ready
from pricing.api.app import create_api
from pricing.api.gates.callers import holder
from pricing.api.gates.logs import log_settings
from pricing.operations.configuration import configuration, variable
from pricing.progress import Progress

PAGES: Final = Path(__file__).parents[1] / "app.py"


def from_environment() -> ASGIApp:
    """Both, configured by the environment: `uvicorn --factory dashboards.serving.server:from_environment`.
    What is said goes to standard error as lines of JSON.

    Behind several processes the dashboard needs a proxy that sends each visitor to the same one; the API does
    not.
    """
    logging.config.dictConfig(log_settings(configuration().log_level))
    log = logging.getLogger("pricing.dashboard")
    return _application(lambda step, done, total: log.info("%s: %d of %d", step, done, total))


def at_a_desk() -> ASGIApp:
    """The same for a person at a terminal, which `pricing dashboard` runs: what is said is for them."""
    return _application(say)


def say(step: str, done: int, total: int) -> None:
    """How far the server is, as a line for a person."""
    sys.stderr.write(f"{step}: {done} of {total}\n")
    sys.stderr.flush()


def _application(tell: Progress) -> ASGIApp:
    """Dashboard and API, once all that they share is read."""
    settings = configuration()
    api = create_api(settings)

    @asynccontextmanager
    async def together(_: st.App) -> AsyncIterator[dict[str, Any]]:
        async with api.router.lifespan_context(api):
            yield {}

    os.environ[variable("access")] = settings.access  # the pages are told who is let in
    app: ASGIApp = st.App(
        PAGES,
        lifespan=together,
        middleware=[
            Middleware(Beside, route=handbook),
            Middleware(Beside, route=api_first(api)),
            # Whether people sign in is asked later: secrets read before `st.App` would have Streamlit look
            # for its settings in the current folder.
            Middleware(
                Door, settings=settings, opens=partial(holder, api.state.service), signing_in=signing_in
            ),
            Middleware(Beside, route=garage(api)),
        ],
    )
    make_ready(tell)
    return app
