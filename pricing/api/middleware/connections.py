"""Connections: what is known of one as long as it lives, and its end where a caller takes too long to say
what is asked for."""

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.auto import AutoHTTPProtocol

from pricing.api.middleware.hosts import CONNECTION

HEADER_SECONDS: Final = 20.0
"""That a connection is given to send the head of a request: uvicorn itself would wait for ever."""

_TOO_LATE: Final = b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
"""RFC 9110, section 15.5.9."""


class PromptProtocol(AutoHTTPProtocol):  # type: ignore[valid-type,misc]
    """uvicorn's HTTP, which closes a connection when the head of a request does not arrive in time, were it
    sent a byte at a time. The body has a limit of its own (``request_limits``)."""

    app_state: dict[str, Any]
    _too_late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """A caller has connected: every request of the connection comes with the same ``CONNECTION``."""
        self.app_state = self.app_state | {CONNECTION: {}}
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Some bytes have come."""
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """The caller is gone."""
        self._forget()
        super().connection_lost(exc)

    def _watch(self) -> None:
        """Let the time run while the head of a request is awaited, and only then: not during its answer, nor
        after the connection was handed over to a web socket."""
        awaited = self.cycle is None or self.cycle.response_complete
        if not awaited or self.transport.get_protocol() is not self:
            self._forget()
        elif self._too_late is None:
            self._too_late = self.loop.call_later(HEADER_SECONDS, self._close)

    def _forget(self) -> None:
        if self._too_late is not None:
            self._too_late.cancel()
            self._too_late = None

    def _close(self) -> None:
        if not self.transport.is_closing():
            self.transport.write(_TOO_LATE)
            self.transport.close()
