"""Every error of the API in one shape: problem details as RFC 9457 has them, from one function."""

import errno
import logging
from collections.abc import Awaitable, Callable
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse

from pricing.api.middleware.logs import request_id
from pricing.errors import MarketError, ModelError, PricingError, ServerAwayError, WriteFailedError
from pricing.failures import failure_code

MEDIA_TYPE: Final = "application/problem+json"
"""RFC 9457, section 6.1."""

TITLES: Final = {status: status.phrase for status in HTTPStatus} | {
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "Content Too Large",
    HTTPStatus.UNPROCESSABLE_ENTITY: "Unprocessable Content",
}
"""Phrases of RFC 9110, section 15, two of which older versions of Python have under older names."""

MOST_ERRORS: Final = 20
"""Fields named in one answer; a list of many thousands may be wrong in each."""

NO_ROOM: Final = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
"""What a system says when a file cannot grow."""

_LOG: Final = logging.getLogger("pricing.api")


class HttpProblemError(Exception):
    """Raised by a route that refuses: a status and what a caller can do about it."""

    def __init__(self, status: int, detail: str, *, code: str | None = None, **headers: str) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.code = code
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class FieldError(BaseModel):
    """One part of a request that is wrong."""

    field: str = Field(
        examples=["cars.0.year"], description="Where, the parts of its path with points between."
    )
    detail: str = Field(examples=["Input should be a valid integer"])


class Problem(BaseModel):
    """What went wrong, as RFC 9457 has it."""

    type: str = Field(examples=["about:blank"], description="`about:blank`: the status says what kind it is.")
    title: str = Field(examples=["Unprocessable Content"], description="The words of the status.")
    status: int = Field(examples=[422])
    detail: str = Field(
        examples=["no record of the make 'Wexcomb'; did you mean Wexcombe?"],
        description="One sentence a person can act on.",
    )
    code: str = Field(
        examples=["car"],
        description="The kind of error, which stays as it is when a sentence is worded anew: that of "
        "`PricingError.code`, or the words of the status.",
    )
    instance: str = Field(
        examples=["urn:request:5f0c6f3a9d1b4b6f"], description="This request, as the server's log names it."
    )
    errors: list[FieldError] | None = None


def problem(
    status: int,
    detail: str,
    *,
    code: str | None = None,
    errors: list[dict[str, str]] | None = None,
    headers: dict[str, str] | None = None,
) -> JSONResponse:
    """The answer for anything that went wrong. Without a type of its own the title is the status phrase
    (RFC 9457, section 4.2.1)."""
    title = TITLES[HTTPStatus(status)]
    content: dict[str, Any] = {
        "type": "about:blank",
        "title": title,
        "status": status,
        "detail": detail,
        "code": title.lower().replace(" ", "-") if code is None else code,
        "instance": f"urn:request:{request_id()}",
    }
    if errors is not None:
        content["errors"] = errors
    return JSONResponse(content, status, headers, MEDIA_TYPE)


def responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The documentation of problems, for a route or a router."""
    schema = {"schema": {"$ref": "#/components/schemas/Problem"}}
    return {
        status: {"description": TITLES[HTTPStatus(status)], "content": {MEDIA_TYPE: schema}}
        for status in statuses
    }


def handle_problems(api: FastAPI) -> None:
    """Let every error of an application be answered by ``problem``."""
    handlers: dict[Any, Callable[[Request, Any], Awaitable[JSONResponse]]] = {
        PricingError: _pricing_error,
        HttpProblemError: _refusal,
        RequestValidationError: _validation_error,
        HTTPException: _http_error,
        OSError: _system_error,
        ClientDisconnect: _cut_short,
        Exception: _unforeseen,
    }
    for kind, handler in handlers.items():
        api.add_exception_handler(kind, handler)


async def _pricing_error(request: Request, error: PricingError) -> JSONResponse:
    for kind, seconds in ((ServerAwayError, "5"), (ModelError, "5"), (WriteFailedError, "60")):
        if isinstance(error, kind):
            return problem(503, plain_words(error), code=error.code, headers={"Retry-After": seconds})
    return problem(409 if isinstance(error, MarketError) else 422, plain_words(error), code=error.code)


async def _refusal(request: Request, error: HttpProblemError) -> JSONResponse:
    code = getattr(error.__cause__, "code", None) if error.code is None else error.code
    return problem(error.status, error.detail, code=code, headers=error.headers)


async def _validation_error(request: Request, error: RequestValidationError) -> JSONResponse:
    wrongs = error.errors()
    errors = [
        {"field": ".".join(str(part) for part in wrong["loc"][1:])[:200], "detail": str(wrong["msg"])[:500]}
        for wrong in wrongs[:MOST_ERRORS]
    ]
    first = errors[0]
    place = f"{first['field']}: " if first["field"] else ""
    more = f" (and {len(wrongs) - 1} more)" if len(wrongs) > 1 else ""
    return problem(422, f"{place}{first['detail']}{more}", errors=errors)


async def _http_error(request: Request, error: HTTPException) -> JSONResponse:
    headers = dict(error.headers) if error.headers else {}
    if isinstance(error.__cause__, OSError):  # while the parts of a request were put into files
        return await _system_error(request, error.__cause__)
    if error.status_code == 405:
        # Each route knows its own method alone; Allow names all of the address's (RFC 9110, section 10.2.1).
        known = [methods for address, methods in request.app.state.methods if address.match(request.url.path)]
        headers["Allow"] = ", ".join(known[0] if known else [])
    elsewhere = "there is nothing at this address"
    details = {404: elsewhere, 405: f"{request.method} is not a method of this address"}
    return problem(error.status_code, details.get(error.status_code, str(error.detail)), headers=headers)


async def _system_error(request: Request, error: OSError) -> JSONResponse:
    """No room on the disk is no fault of the caller's, and passes; anything else is unforeseen."""
    if error.errno not in NO_ROOM:
        return await _unforeseen(request, error)
    _LOG.error("no room on the disk: %s", error)
    detail = "the server has no room left on its disk"
    return problem(503, detail, code=WriteFailedError.code, headers={"Retry-After": "60"})


async def _cut_short(request: Request, error: ClientDisconnect) -> JSONResponse:
    """Nobody reads this answer; whoever leaves early writes no failure into the log."""
    return problem(400, "the request ended before its body did; send it again")


async def _unforeseen(request: Request, error: Exception) -> JSONResponse:
    code = failure_code(error)
    _LOG.error("unforeseen error %s", code, exc_info=error)
    return problem(500, "the server failed at this; its log names the request", code=code)


def plain_words(error: BaseException) -> str:
    """An error's message in one line."""
    return " ".join(str(error).split())
