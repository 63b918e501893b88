"""What is answered beside the pages: the handbook, the JSON API, and the garage page, which keeps findings
and photographs on a phone without a network and sends them to the API when there is one. The framework's own
pages need a live connection; that one is plain HTML and a script."""

from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path
from typing import Final

from starlette.datastructures import Headers
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.types import ASGIApp, Receive, Scope, Send

from pricing.api.app import OF_PAGES, SERVER_PATHS
from pricing.api.middleware.callers import VISITOR, Caller
from pricing.charts.design import style_sheet

API: Final = "/api"
HANDBOOK: Final = "/handbook"
ELSEWHERE: Final = ("/docs", "/docs/", "/redoc", HANDBOOK, f"{HANDBOOK}/")
"""Where people look for documentation."""

GARAGE: Final = "/garage"

SOMEBODY: Final = Caller("a visitor of the pages", "read")
"""Whom the door has let in: sheets are known by their names, which nobody guesses."""

_FOLDER: Final = Path(__file__).parents[1] / "garage_page"
_FILES: Final = {
    "": ("index.html", "text/html"),
    "garage.js": ("garage.js", "text/javascript"),
    "worker.js": ("worker.js", "text/javascript"),
}
_SAFETY: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'",
}
"""Headers of the handbook's pages."""

Route = Callable[[Scope], ASGIApp | None]
"""What answers a request; nothing where it is none of its own."""


class Beside:
    """ASGI middleware: a request goes to what ``route`` has for it, else to the application behind."""

    def __init__(self, app: ASGIApp, route: Route) -> None:
        self._app = app
        self._route = route

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        answer = self._route(scope) if scope["type"] == "http" else None
        await (answer or self._app)(scope, receive, send)


def handbook(scope: Scope) -> ASGIApp | None:
    """The handbook, before the door: pages that anybody may read, as they tell nothing of the market."""
    path = scope.get("path", "")
    if path in ELSEWHERE:
        return RedirectResponse(f"{HANDBOOK}/index.html")
    if not path.startswith(f"{HANDBOOK}/"):
        return None
    from pricing.handbook.pages import html_pages

    page = html_pages().get(path.removeprefix(f"{HANDBOOK}/"))
    if page is None:
        return PlainTextResponse("there is no such page", HTTPStatus.NOT_FOUND, _SAFETY)
    return HTMLResponse(page, headers=_SAFETY)


def api_first(api: ASGIApp) -> Route:
    """The API's own addresses, before all of the dashboard's: no page's cookie, compression or check of paths
    is between. What a page asks without a token goes by the door (``garage``)."""

    def route(scope: Scope) -> ASGIApp | None:
        path = scope.get("path", "")
        mine = path in SERVER_PATHS or path == API or path.startswith(f"{API}/")
        if mine and path.startswith(OF_PAGES):
            mine = "authorization" in Headers(scope=scope)
        return api if mine else None

    return route


def garage(api: ASGIApp) -> Route:
    """The garage page, behind the door; what it asks the API goes there, as of somebody whom the door has let
    in."""

    async def as_visitor(scope: Scope, receive: Receive, send: Send) -> None:
        await api({**scope, VISITOR: SOMEBODY}, receive, send)

    def route(scope: Scope) -> ASGIApp | None:
        path = scope.get("path", "")
        if path == GARAGE or path.startswith(f"{GARAGE}/"):
            return _garage_file(scope["method"], path.removeprefix(GARAGE))
        return as_visitor if path.startswith(OF_PAGES) else None

    return route


def _garage_file(method: str, path: str) -> Response:
    if path == "":
        return RedirectResponse(f"{GARAGE}/")
    file, anew = path.strip("/"), {"Cache-Control": "no-cache"}
    if method == "GET" and file in _FILES:
        name, kind = _FILES[file]
        return FileResponse(_FOLDER / name, media_type=kind, headers=anew)
    if method == "GET" and file == "style.css":
        return Response(style_sheet(), media_type="text/css", headers=anew)
    return JSONResponse({"detail": "There is no such page."}, HTTPStatus.NOT_FOUND)
