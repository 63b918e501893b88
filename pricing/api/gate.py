"""The gate that every request passes: its name, its log line, its counts, and the limits of size and time."""

import asyncio
import logging
import time
from collections.abc import Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pricing.api.problems import problem
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
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}
"""Headers of every answer (OWASP, REST Security Cheat Sheet)."""


class Gate:
    """ASGI middleware around the whole API."""

    def __init__(
        self, app: ASGIApp, service: Service, sizes: Mapping[str, int], long: tuple[str, ...]
    ) -> None:
        """``sizes``: bytes that a request to an address may have, where it is not ``largest_body``; ``long``:
        beginnings of addresses that may work for long."""
        self._app = app
        self._service = service
        self._sizes = sizes
        self._long = long

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
                await self._app(scope, body.next, told)
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
