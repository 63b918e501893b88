"""What every request passes: its name, its log line, its counts, and the limits of size and time."""

import asyncio
import logging
import re
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pricing.api.car_lists import SHORT_BODY
from pricing.api.middleware.callers import let_in
from pricing.api.middleware.hosts import refusal
from pricing.api.middleware.logs import begin
from pricing.api.middleware.rate_limiter import ConcurrencyLimiter
from pricing.api.problems import HttpProblemError, problem
from pricing.api.service import Service


class Body:
    """A request's body as it arrives; reading on raises ``HTTPException`` when it is larger than ``largest``
    bytes (413) or has not come whole after ``seconds`` (408)."""

    def __init__(
        self,
        receive: Receive,
        headers: Mapping[str, str],
        largest: int,
        seconds: float,
        most: int | None = None,
    ) -> None:
        """``most``: commas that it may hold, which is as many values as JSON can have."""
        self._receive = receive
        self._most = most
        self._commas = 0
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
            self._refuse_many(message.get("body", b""))
        return message

    def _refuse_large(self) -> None:
        if max(self._size, self._arrived) > self._largest:
            raise HTTPException(413, f"the request is larger than {self._largest:,} bytes")

    def _refuse_many(self, part: bytes) -> None:
        if self._most is not None:
            self._commas += part.count(b",")
            if self._commas > self._most:
                raise HTTPException(413, f"the request holds more than {self._most:,} values")


LIST_BYTES_A_CAR: Final = 1_000
"""Bytes that a car of a list may take at most, on average."""

LIST_VALUES_A_CAR: Final = 60
"""The same of what is said of it."""

MOST_VALUES: Final = 10_000
"""What is said in one request, lists of cars and files aside: to refuse as many takes some hundredths of a
second."""

AT_ONCE: Final = 24
"""Requests of one caller that are worked on at a time; others wait their turn, unread."""

LONG_AT_ONCE: Final = 2
"""The same of requests that work for long."""

ID_HEADER: Final = "X-Request-ID"

_OF_APPRAISAL: Final = re.compile(r"^(/api/v1/appraisals/)[^/]+(/photographs)$")

_LOG: Final = logging.getLogger("pricing.requests")

SAFETY: Final = {
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}
"""Headers of every answer (OWASP, REST Security Cheat Sheet)."""


def address(path: str) -> str:
    """An address by which limits are kept: with a star in place of what names one appraisal.

    >>> address("/api/v1/appraisals/appraisal-0001/photographs"), address("/api/v1/fits")
    ('/api/v1/appraisals/*/photographs', '/api/v1/fits')
    """
    return _OF_APPRAISAL.sub(r"\1*\2", path)


@dataclass
class RequestLimits:
    """ASGI middleware around the whole API.

    ``sizes``: bytes that a request to an ``address`` may have, where it is not ``largest_body``; ``counts``:
    values, where it is not ``MOST_VALUES``, ``None`` for any; ``long``: beginnings of addresses that may work
    for long; ``acts``: what a caller who posts to an address must be allowed before any of it is taken in;
    ``unguarded``: addresses that answer anybody.
    """

    app: ASGIApp
    service: Service
    sizes: Mapping[str, int]
    counts: Mapping[str, int | None]
    long: tuple[str, ...]
    acts: Mapping[str, str]
    unguarded: frozenset[str]
    concurrency: ConcurrencyLimiter = field(default_factory=lambda: ConcurrencyLimiter(AT_ONCE, LONG_AT_ONCE))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        name = begin(headers.get(ID_HEADER))
        started, status = time.perf_counter(), 0

        async def send_named(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                answered = MutableHeaders(scope=message)
                answered[ID_HEADER] = name
                for header, value in SAFETY.items():
                    answered.setdefault(header, value)
            await send(message)

        counters = self.service.counters
        counters.in_hand.inc()
        try:
            limits, where = self.service.configuration, address(scope["path"])
            largest, most = self.sizes.get(where, limits.largest_body), self.counts.get(where, MOST_VALUES)
            async with asyncio.timeout(self._seconds(scope["path"])):
                caller = await self._admit(scope)
                async with self.concurrency.of(caller, heavy=self._is_heavy(scope["path"], headers)):
                    body = Body(receive, headers, largest, limits.body_seconds, most)
                    await self.app(scope, body.next, send_named)
        except HttpProblemError as refused:
            answer = problem(refused.status, refused.detail, headers=refused.headers)
            await answer(scope, receive, send_named)
        except TimeoutError:
            if status:
                raise
            answer = problem(503, "this took too long and was given up", headers={"Retry-After": "30"})
            await answer(scope, receive, send_named)
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

    async def _admit(self, scope: Scope) -> str | None:
        """Let the caller in, before any of the body is read; returns among whose requests this one counts.

        Raises:
            HttpProblemError: 403 for a host, an origin or a role that is not allowed; what ``let_in`` raises.
        """
        request, path = HTTPConnection(scope), scope["path"]
        refused = refusal(request.headers, self.service.configuration)
        if refused is not None and path != "/health":
            raise HttpProblemError(403, refused)
        if path in self.unguarded:
            return None
        caller = await let_in(request, self.service)
        request.state.caller = caller
        if scope["method"] == "POST" and address(path) in self.acts:
            caller.must_be_able_to(self.acts[address(path)])
        return caller.name

    def _is_heavy(self, path: str, headers: Mapping[str, str]) -> bool:
        """Whether a request works for long: by its address, or as a list that is not short."""
        if path.startswith(self.long):
            return True
        announced = headers.get("content-length", "")
        return path in self.sizes and not (announced.isdecimal() and int(announced[:20]) <= SHORT_BODY)

    def _seconds(self, path: str) -> float:
        limits = self.service.configuration
        return limits.work_seconds if path.startswith(self.long) else limits.answer_seconds
