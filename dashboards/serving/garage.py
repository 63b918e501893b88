"""The garage page beside the dashboard: it keeps findings and photographs on a phone without a network, and
sends them to the API when there is one. The framework's own pages need a live connection; this one is plain
HTML and a script."""

from http import HTTPStatus
from pathlib import Path
from typing import Final

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from pricing.api.app import OF_PAGES
from pricing.api.gates.callers import VISITOR, Caller
from pricing.charts.design import style_sheet

GARAGE: Final = "/garage"

SOMEBODY: Final = Caller("a visitor of the pages", "read")
"""Whom the door has let in: sheets are known by their names, which nobody guesses."""

_FOLDER: Final = Path(__file__).parents[1] / "garage_page"
_FILES: Final = {
    "": ("index.html", "text/html"),
    "garage.js": ("garage.js", "text/javascript"),
    "worker.js": ("worker.js", "text/javascript"),
}


class Garage:
    """ASGI middleware behind the door: the garage page is answered here, and what it asks the API goes there,
    as of somebody whom the door has let in."""

    def __init__(self, app: ASGIApp, api: ASGIApp) -> None:
        self._app = app
        self._api = api

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path", "")
        if scope["type"] == "http" and (path == GARAGE or path.startswith(f"{GARAGE}/")):
            answer = _answer(Request(scope, receive), path.removeprefix(GARAGE))
            await answer(scope, receive, send)
        elif scope["type"] == "http" and path.startswith(OF_PAGES):
            await self._api({**scope, VISITOR: SOMEBODY}, receive, send)
        else:
            await self._app(scope, receive, send)


def _answer(request: Request, path: str) -> Response:
    if path == "":
        return RedirectResponse(f"{GARAGE}/")
    file = path.strip("/")
    if request.method == "GET" and file in _FILES:
        name, kind = _FILES[file]
        return FileResponse(_FOLDER / name, media_type=kind, headers={"Cache-Control": "no-cache"})
    if request.method == "GET" and file == "style.css":
        return Response(style_sheet(), media_type="text/css", headers={"Cache-Control": "no-cache"})
    return JSONResponse({"detail": "There is no such page."}, HTTPStatus.NOT_FOUND)
