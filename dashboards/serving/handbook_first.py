"""The handbook beside the dashboard: pages that anybody may read, as they tell nothing of the market."""

from http import HTTPStatus
from typing import Final

from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

HANDBOOK: Final = "/handbook"
ELSEWHERE: Final = ("/docs", "/docs/", "/redoc", HANDBOOK, f"{HANDBOOK}/")
"""Where people look for documentation."""

_SAFETY: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'",
}


class HandbookFirst:
    """ASGI middleware before the door: the handbook's addresses are answered here."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path", "")
        if scope["type"] == "http" and (path in ELSEWHERE or path.startswith(f"{HANDBOOK}/")):
            await _page(path)(scope, receive, send)
        else:
            await self._app(scope, receive, send)


def _page(path: str) -> Response:
    if path in ELSEWHERE:
        return RedirectResponse(f"{HANDBOOK}/index.html")
    from pricing.handbook.pages import html_pages

    page = html_pages().get(path.removeprefix(f"{HANDBOOK}/"))
    if page is None:
        return PlainTextResponse("there is no such page", HTTPStatus.NOT_FOUND, _SAFETY)
    return HTMLResponse(page, headers=_SAFETY)
