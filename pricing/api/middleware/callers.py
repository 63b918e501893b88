"""Who asks: the holder of a token, or somebody at this very machine where that is enough."""

import hmac
import math
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import Depends, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request

from pricing.api.middleware.hosts import is_trusted
from pricing.api.problems import HttpProblemError
from pricing.api.service import Service
from pricing.operations.access import ROLES
from pricing.store.audit import now
from pricing.store.kept.tokens import Token, digest_of

_BEARER: Final = HTTPBearer(
    auto_error=False, scheme_name="token", description="A token made by `pricing token new` (RFC 6750)."
)

Credentials = Annotated[HTTPAuthorizationCredentials | None, Security(_BEARER)]


@dataclass(frozen=True)
class Caller:
    """Somebody whose name is known; ``role`` is one of ``access.ROLES``."""

    name: str
    role: str

    def may(self, act: str) -> bool:
        """Whether the role lets this be done."""
        return act in ROLES[self.role]

    def must_be_able_to(self, act: str) -> None:
        """Refuse with 403 what the role does not let be done."""
        if not self.may(act):
            raise HttpProblemError(
                403, f"the role {self.role} may not {act}; whoever manages the market gives roles"
            )


HERE: Final = Caller("this machine", "manage")
"""Whoever sits at the machine that the server runs on, where no token is asked for."""


VISITOR: Final = "pricing.visitor"
"""Where an application around the API names the caller, of a request that it has let in itself."""


def caller_who_may(act: str) -> Callable[..., Coroutine[Any, Any, Caller]]:
    """A dependency that gives the caller who was let in, or refuses with 403 one whose role does
    not let it be done."""

    async def caller(request: Request, _: Credentials) -> Caller:
        known: Caller = request.state.caller
        known.must_be_able_to(act)
        return known

    return caller


Reading: Final = Depends(caller_who_may("read"))
Loading: Final = Depends(caller_who_may("load"))
"""Beside a router or a route: who may ask it."""


async def let_in(request: HTTPConnection, service: Service) -> Caller:
    """Who asks, by the token of the header ``Authorization`` (RFC 6750), or by being at this machine where it
    is trusted, or because a ``VISITOR`` was let in before; nothing of the body is read.

    Raises:
        HttpProblemError: 401 without a token in force, 429 for too many requests or guesses.
    """
    visitor: Caller | None = request.scope.get(VISITOR)
    if visitor is not None:
        return visitor
    kind, _, token = request.headers.get("authorization", "").partition(" ")
    if kind.casefold() != "bearer" or not token.strip():
        if is_trusted(request, service.configuration):
            return HERE
        raise HttpProblemError(
            401,
            "this needs a token; `pricing token new` makes one",
            www_authenticate='Bearer realm="pricing"',
        )
    known = await holder(service, request, token.strip())
    _slow_down(service.rates.wait(known.token_id), "this token has made too many requests")
    return Caller(known.name, known.role)


async def holder(service: Service, request: HTTPConnection, token: str) -> Token:
    """The token as it is kept.

    Raises:
        HttpProblemError: 401 where it is none in force, 429 where this address has guessed too often.
    """
    snapshot = await run_in_threadpool(service.snapshot) if service.source.due else service.snapshot()
    wanted = digest_of(token)
    known = snapshot.state.tokens.get(wanted)
    ran_out = known is not None and known.expires_at is not None and known.expires_at <= now()
    if known is None or ran_out or not hmac.compare_digest(known.digest, wanted) or known.role not in ROLES:
        address = "-" if request.client is None else request.client.host
        _slow_down(service.guesses.wait(address), "this address has sent too many tokens that open nothing")
        raise HttpProblemError(
            401,
            "the token has run out" if ran_out else "no token in force is this one",
            www_authenticate='Bearer realm="pricing", error="invalid_token"',
        )
    return known


def _slow_down(seconds: float, why: str) -> None:
    if seconds > 0:
        raise HttpProblemError(429, f"{why}; try again in a while", retry_after=str(math.ceil(seconds)))
