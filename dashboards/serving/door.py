"""The door before every page and their WebSocket: whoever comes in signs in, holds a token, or sits at a
machine that is trusted. Nothing of a body is read before."""

import json
from collections.abc import Awaitable, Callable, Mapping
from html import escape
from typing import Final
from urllib.parse import parse_qs

import streamlit as st
from itsdangerous import BadData, URLSafeTimedSerializer
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection, Request, cookie_parser
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.auth_util import get_cookie_with_chunks

from dashboards.serving.visitor_limits import UPLOADS, OpenLines, Paced, UploadTotals
from pricing.api.middleware.callers import HERE
from pricing.api.middleware.hosts import is_trusted, refusal
from pricing.api.middleware.request_limits import Body
from pricing.api.problems import HttpProblemError
from pricing.operations.access import ROLES
from pricing.operations.configuration import Configuration
from pricing.store.kept.tokens import Token

SIGN_IN: Final = "/sign-in"
COOKIE: Final = "pricing_token"
LONGEST_FORM: Final = 500
"""Bytes of the form with a token."""

TRY_LATER: Final = 1013
"""The code of a WebSocket that is closed for want of room (IANA, WebSocket Close Code Number Registry)."""

ALIVE: Final = "/_stcore/health"
"""Tells anybody that the server lives, and nothing else."""

LARGEST_OF_READERS: Final = 16_000_000
"""Bytes of an upload of somebody who may not load: a photo for an inspection."""

LARGEST_OF_LOADERS: Final = 201_000_000
"""The same of somebody who may: a file of records (`intake.transfers.LARGEST_UPLOAD`, which takes long to
import), and what a browser writes around it."""

SIGNED_IN: Final = "_streamlit_user"
"""The cookie by which Streamlit knows whoever has signed in, under a signature of its secret."""

SAFETY: Final = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; worker-src 'self' blob:; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        "media-src 'self' blob:; connect-src 'self'; object-src 'none'; base-uri 'self'; "
        "frame-ancestors 'none'"
    ),
}
"""Headers of every page (OWASP, HTTP Headers Cheat Sheet). Streamlit's page holds a script of its own, and
charts are drawn by programs made while they are read: `unsafe-inline` and `unsafe-eval` are theirs."""

_PAGE: Final = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Classic car prices</title><style>
body {{font: 1.1rem/1.5 sans-serif; max-width: 26rem; margin: 4rem auto; padding: 0 1rem}}
input, button {{font: inherit; width: 100%; box-sizing: border-box; padding: .5rem; margin-top: .5rem}}
</style></head><body><h1>Classic car prices</h1>
<form method="post" action="/sign-in"><label for="token">Your token</label>
<input id="token" name="token" type="password" autocomplete="current-password" required autofocus>
<button>Sign in</button></form><p role="alert">{why}</p>
<p>Whoever manages the market makes tokens, with <code>pricing token new</code>.</p></body></html>"""


class Door:
    """ASGI middleware around the dashboard."""

    def __init__(
        self,
        app: ASGIApp,
        settings: Configuration,
        opens: Callable[..., Awaitable[Token]],
        *,
        signing_in: Callable[[], str | None],
    ) -> None:
        """``opens``: the token as it is kept, of a request and the token it brought; raises
        ``HttpProblemError`` unless that is in force; ``signing_in``: the secret that signs cookies, where the
        pages themselves ask people to sign in with OpenID Connect."""
        self._app = app
        self._settings = settings
        self._opens = opens
        self._signing_in = signing_in
        self._totals = UploadTotals(settings.largest_uploads)
        self._lines = OpenLines()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return

        async def secured(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(SAFETY)
            await send(message)

        answer, person, largest = await self._stopped(scope, receive)
        if answer is None and scope["type"] == "http" and scope["path"].startswith(UPLOADS):
            await self._upload(scope, receive, secured, person, largest)
        elif answer is None and scope["type"] == "websocket":
            await self._line(scope, receive, secured, person)
        elif answer is None:
            await self._app(scope, self._short(scope, receive), secured)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await answer(scope, receive, secured)

    async def _line(self, scope: Scope, receive: Receive, send: Send, person: str) -> None:
        """The WebSocket of a page, within what its visitor may hold open and say."""
        client = scope.get("client")
        who = person or f"at {client[0] if client else '-'}"
        with self._lines.held(who, known=bool(person)) as free:
            if free:
                line = Paced(receive, known=bool(person))
                await self._app(scope, line.next, send)
                if line.ended is not None:
                    await send({"type": "websocket.close", "code": line.ended})
            else:
                await send({"type": "websocket.close", "code": TRY_LATER})

    def _short(self, scope: Scope, receive: Receive) -> Receive:
        """What a body is held to that is no file."""
        return Body(receive, Headers(scope=scope), LARGEST_OF_READERS, self._settings.body_seconds).next

    async def _upload(self, scope: Scope, receive: Receive, send: Send, person: str, largest: int) -> None:
        """A file for a page, within what its person may keep, or the end of one."""
        file, status = scope["path"].removeprefix(UPLOADS), 0

        async def observed(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        if scope["method"] != "PUT":
            await self._app(scope, self._short(scope, receive), observed)
            if scope["method"] == "DELETE" and status // 100 == 2:
                self._totals.removed(file)
            return
        headers, limits = Headers(scope=scope), self._settings
        announced = headers.get("content-length", "")
        size = min(int(announced), largest) if announced.isdecimal() and len(announced) < 20 else largest
        if not self._totals.begin(person, size):
            most = limits.largest_uploads
            refused = f"the files on your open pages come to more than {most:,} bytes; take some away first"
            await PlainTextResponse(refused, 413)(scope, receive, send)
            return
        seconds = limits.body_seconds if largest <= LARGEST_OF_READERS else limits.work_seconds
        try:
            await self._app(scope, Body(receive, headers, size, seconds).next, observed)
        finally:
            self._totals.end(person, file, size, stored=status // 100 == 2)

    async def _stopped(self, scope: Scope, receive: Receive) -> tuple[Response | None, str, int]:
        """What is answered in place of the dashboard, ``None`` for whoever may come in; who that is; and how
        many bytes of a file they may bring."""
        request = HTTPConnection(scope)
        refused = refusal(request.headers, self._settings)
        if refused is not None:
            return PlainTextResponse(refused, 403), "", 0
        reading = scope["type"] == "websocket" or scope["method"] in ("GET", "HEAD", "OPTIONS")
        secret = self._signing_in()
        if secret is not None:
            person = signed_in(request.headers, secret)
            if reading or person is not None:
                return None, person or "", LARGEST_OF_LOADERS
            return PlainTextResponse("sign in first", 401), "", 0
        if scope["path"] == ALIVE:
            return None, "", LARGEST_OF_LOADERS
        if is_trusted(request, self._settings):
            return None, HERE.name, LARGEST_OF_LOADERS
        if scope["path"] == SIGN_IN and not reading:
            return await self._sign_in(Request(scope, receive)), "", 0
        token = token_in(request.headers)
        try:
            if token is not None:
                record = await self._opens(request, token)
                may_load = "load" in ROLES[record.role]
                return None, record.token_id, LARGEST_OF_LOADERS if may_load else LARGEST_OF_READERS
        except HttpProblemError as error:
            return _ask(error.detail, error.status), "", 0
        return _ask("", 401), "", 0

    async def _sign_in(self, request: Request) -> Response:
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > LONGEST_FORM:
                return _ask("that is no token", 413)
        (token,) = parse_qs(body.decode("ascii", "replace"), max_num_fields=5).get("token", [""])[:1]
        token = token.strip()
        try:
            await self._opens(request, token)
        except HttpProblemError as error:
            return _ask(error.detail, error.status)
        by_tls = "https" in (request.url.scheme, request.headers.get("x-forwarded-proto"))
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", secure=by_tls)
        return answer


def signing_in() -> str | None:
    """The secret that signs the cookies of people, where a provider of sign-in (OpenID Connect) is set up in
    Streamlit's secrets."""
    try:
        return str(st.secrets["auth"]["cookie_secret"]) if "auth" in st.secrets else None
    except FileNotFoundError:
        return None
    except KeyError:
        return ""


def signed_in(headers: Mapping[str, str], secret: str) -> str | None:
    """Who has signed in, by the address that the cookies of a request hold, whatever their role; ``None``
    without one. Streamlit parts what is too long for one cookie, each part under its own signature."""

    def verified(name: str) -> bytes | None:
        sent = _cookie(headers, name)
        return str(URLSafeTimedSerializer(secret, salt=name).loads(sent, _LONGEST)).encode() if sent else None

    try:
        claims = json.loads(get_cookie_with_chunks(verified, SIGNED_IN) or "")
    except (BadData, ValueError):
        return None
    return str(claims.get("email", "")) if secret and isinstance(claims, dict) else None


def token_in(headers: Mapping[str, str]) -> str | None:
    """The token of a signed-in visitor's cookie."""
    return _cookie(headers, COOKIE)


_LONGEST: Final = 31 * 86_400
"""Seconds that such a cookie holds for."""


def _cookie(headers: Mapping[str, str], name: str) -> str | None:
    return cookie_parser(headers.get("cookie", "")).get(name)


def _ask(why: str, status: int) -> Response:
    return HTMLResponse(_PAGE.format(why=escape(why)), status, {"Cache-Control": "no-store"})
