"""The gate that every request passes: its name, its log line, its counts, and the limits of size and time."""

import asyncio
import logging
import time
from collections.abc import Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pricing.api.callers import let_in
from pricing.api.hosts import refusal
from pricing.api.problems import ProblemError, problem
from pricing.api.request_ids import begin
from pricing.api.service import Service

LIST_BYTES_A_CAR: Final = 1_000
"""Bytes that a car of a list may take at most, on average."""

ID_HEADER: Final = "X-Request-ID"

_LOG: Final = logging.getLogger("pricing.requests")

SAFETY: Final = {
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}
"""Headers of every answer (OWASP, REST Security Cheat Sheet)."""


class Gate:
    """ASGI middleware around the whole API."""

    def __init__(
        self,
        app: ASGIApp,
        service: Service,
        *,
        sizes: Mapping[str, int],
        long: tuple[str, ...],
        acts: Mapping[str, str],
        unguarded: frozenset[str],
    ) -> None:
        """``sizes``: bytes that a request to an address may have, where it is not ``largest_body``; ``long``:
        beginnings of addresses that may work for long; ``acts``: what a caller who posts to an address must
        be allowed before any of it is taken in; ``unguarded``: addresses that answer anybody."""
        self._app = app
        self._service = service
        self._sizes = sizes
        self._long = long
        self._acts = acts
        self._unguarded = unguarded

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        name = begin(headers.get(ID_HEADER))
        started, status = time.perf_counter(), 0

        async def told(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                answered = MutableHeaders(scope=message)
                answered[ID_HEADER] = name
                for header, value in SAFETY.items():
                    answered.setdefault(header, value)
            await send(message)

        counters = self._service.counters
        counters.in_hand.inc()
        try:
            limits = self._service.configuration
            largest = self._sizes.get(scope["path"], limits.largest_body)
            body = _Body(receive, headers, largest, limits.body_seconds)
            async with asyncio.timeout(self._seconds(scope["path"])):
                await self._admit(scope)
                await self._app(scope, body.next, told)
        except ProblemError as refused:
            answer = problem(refused.status, refused.detail, headers=refused.headers)
            await answer(scope, receive, told)
        except TimeoutError:
            if status:
                raise
            answer = problem(503, "this took too long and was given up", headers={"Retry-After": "30"})
            await answer(scope, receive, told)
        except BaseException:
            status = 500 if not status else status
            raise
        finally:
            counters.in_hand.dec()
            seconds = time.perf_counter() - started
            route = getattr(scope.get("route"), "path", "none")
            counters.requests.labels(scope["method"], route, str(status)).inc()
            counters.seconds.labels(route).observe(seconds)
            _LOG.info(
                "request",
                extra={
                    "method": scope["method"], "route": route, "status": status,
                    "milliseconds": round(1000 * seconds, 2),
                    "caller": getattr(scope.get("state", {}).get("caller"), "name", None),
                },
            )  # fmt: skip

    async def _admit(self, scope: Scope) -> None:
        """Let the caller in, before any of the body is read.

        Raises:
            ProblemError: 403 for a host, an origin or a role that is not allowed; what ``let_in`` raises.
        """
        request, path = HTTPConnection(scope), scope["path"]
        refused = refusal(request.headers, self._service.configuration)
        if refused is not None and path != "/health":
            raise ProblemError(403, refused)
        if path in self._unguarded:
            return
        caller = await let_in(request, self._service)
        request.state.caller = caller
        if scope["method"] == "POST" and path in self._acts:
            caller.must_be_able_to(self._acts[path])

    def _seconds(self, path: str) -> float:
        limits = self._service.configuration
        return limits.work_seconds if path.startswith(self._long) else limits.answer_seconds


class _Body:
    """A request's body as it arrives, refused when it is too large or comes too slowly."""

    def __init__(self, receive: Receive, headers: Mapping[str, str], largest: int, seconds: float) -> None:
        self._receive = receive
        self._largest = largest
        self._until = time.monotonic() + seconds
        announced = headers.get("content-length", "0")
        self._size = int(announced) if announced.isdecimal() and len(announced) < 20 else 0
        self._arrived = 0
        self._whole = False

    async def next(self) -> Message:
        """The next part of it; after the last whatever the server has to say."""
        if self._whole:
            return await self._receive()
        self._refuse_large()
        try:
            async with asyncio.timeout(max(0.0, self._until - time.monotonic())):
                message = await self._receive()
        except TimeoutError:
            raise HTTPException(408, "the request took too long to arrive") from None
        if message["type"] == "http.request":
            self._arrived += len(message.get("body", b""))
            self._whole = not message.get("more_body", False)
            self._refuse_large()
        return message

    def _refuse_large(self) -> None:
        if max(self._size, self._arrived) > self._largest:
            raise HTTPException(413, f"the request is larger than {self._largest:,} bytes")
