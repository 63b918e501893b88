"""The body of a request, no larger and no slower than is allowed."""

import asyncio
import time
from collections.abc import Mapping

from starlette.exceptions import HTTPException
from starlette.types import Message, Receive


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
