"""The dashboard as an ASGI application behind its door, alone for `pricing dashboard` or with the JSON API
for `pricing serve` and any ASGI server."""

import logging.config
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, Final

import streamlit as st
from starlette.middleware import Middleware
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboards import people
from dashboards.door import Door
from pricing.api.app import SERVER_PATHS, create_api
from pricing.api.logs import log_settings
from pricing.api.service import Service
from pricing.operations.configuration import configuration, variable

API: Final = "/api"
PAGES: Final = Path(__file__).with_name("app.py")


class ApiFirst:
    """ASGI middleware before all of the dashboard's: the API's own addresses go to the API and to nothing
    else, so that no page's cookie, compression or check of paths is between."""

    def __init__(self, app: ASGIApp, api: ASGIApp) -> None:
        self._app = app
        self._api = api

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path", "")
        mine = scope["type"] == "http" and (path in SERVER_PATHS or path == API or path.startswith(f"{API}/"))
        await (self._api if mine else self._app)(scope, receive, send)


def from_environment() -> ASGIApp:
    """Both, configured by the environment: `uvicorn --factory dashboards.server:from_environment`.

    Behind several processes the dashboard needs a proxy that sends each visitor to the same one; the API does
    not.
    """
    settings = configuration()
    logging.config.dictConfig(log_settings(settings.log_level))
    api = create_api(settings)

    @asynccontextmanager
    async def together(_: st.App) -> AsyncIterator[dict[str, Any]]:
        async with api.router.lifespan_context(api):
            yield {}

    app: ASGIApp = st.App(
        PAGES,
        lifespan=together,
        middleware=[Middleware(ApiFirst, api=api), _door(api.state.service)],
    )
    return app


def dashboard_alone() -> ASGIApp:
    """The dashboard without the API, configured by the environment."""
    app: ASGIApp = st.App(PAGES, middleware=[_door(Service(configuration()))])
    return app


def _door(service: Service) -> Middleware:
    """The door; the pages are told in the environment who is let in."""
    os.environ[variable("access")] = service.configuration.access
    return Middleware(Door, service=service, signing_in=people.signing_in())
