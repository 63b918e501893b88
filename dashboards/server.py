"""The dashboard and the JSON API in one ASGI application, which `pricing serve` and any ASGI server can
run."""

import logging.config
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from typing import Any, Final

import streamlit as st
from starlette.middleware import Middleware
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboards.alone import PAGES, door
from dashboards.garage import Garage
from dashboards.handbook_first import HandbookFirst
from pricing.api.app import SERVER_PATHS, create_api
from pricing.api.callers import holder
from pricing.api.logs import log_settings
from pricing.operations.configuration import configuration

API: Final = "/api"


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
        middleware=[
            Middleware(HandbookFirst),
            Middleware(ApiFirst, api=api),
            door(settings, partial(holder, api.state.service)),
            Middleware(Garage),
        ],
    )
    return app
