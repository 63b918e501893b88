"""Who asks: the holder of a token, or somebody at this very machine where that is enough."""

import hmac
import ipaddress
import math
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from pricing.api.problems import ProblemError
from pricing.api.service import Service, service_of
from pricing.operations.access import ROLES
from pricing.store.audit import now
from pricing.store.tokens import digest_of

LOOPBACK_NAMES: Final = ("127.0.0.1", "localhost", "[::1]", "::1")
_FORWARDED: Final = ("forwarded", "x-forwarded-for", "x-real-ip")
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


HERE: Final = Caller("this machine", "manage")
"""Whoever sits at the machine that the server runs on, where no token is asked for."""


def caller_who_may(act: str) -> Callable[..., Coroutine[Any, Any, Caller]]:
    """A dependency that gives the caller, or refuses: 401 without a token in force, 403 for a role that does
    not let it be done, 429 for too many requests."""

    async def caller(request: Request, credentials: Credentials) -> Caller:
        service = service_of(request)
        found = await _caller(request, service, None if credentials is None else credentials.credentials)
        request.state.caller = found
        if not found.may(act):
            raise ProblemError(
                403, f"the role {found.role} may not {act}; whoever manages the market gives roles"
            )
        return found

    return caller


async def _caller(request: Request, service: Service, token: str | None) -> Caller:
    if token is None and service.configuration.access == "open" and is_here(request):
        return HERE
    address = "-" if request.client is None else request.client.host
    if token is None:
        raise ProblemError(
            401,
            "this needs a token; `pricing token new` makes one",
            www_authenticate='Bearer realm="pricing"',
        )
    snapshot = await run_in_threadpool(service.snapshot) if service.source.due else service.snapshot()
    wanted = digest_of(token)
    kept = snapshot.state.tokens.get(wanted)
    ran_out = kept is not None and kept.expires_at is not None and kept.expires_at <= now()
    if kept is None or ran_out or not hmac.compare_digest(kept.digest, wanted) or kept.role not in ROLES:
        _slow_down(service.guesses.wait(address), "this address has sent too many tokens that open nothing")
        raise ProblemError(
            401,
            "the token has run out" if ran_out else "no token in force is this one",
            www_authenticate='Bearer realm="pricing", error="invalid_token"',
        )
    _slow_down(service.rates.wait(kept.token_id), "this token has made too many requests")
    return Caller(kept.name, kept.role)


def _slow_down(seconds: float, why: str) -> None:
    if seconds > 0:
        raise ProblemError(429, f"{why}; try again in a while", retry_after=str(math.ceil(seconds)))


def is_here(request: Request) -> bool:
    """Whether a request comes from this machine itself, by no proxy, and not from another site's page.

    The host that is asked for must be a name of this machine, so that no other name can be made to point
    here (DNS rebinding); a page of another origin says so (RFC 6454, section 7).
    """
    if request.client is None or any(name in request.headers for name in _FORWARDED):
        return False
    try:
        local = ipaddress.ip_address(request.client.host).is_loopback
    except ValueError:
        return False
    host = request.headers.get("host", "")
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    origin = request.headers.get("origin")
    same = origin is None or origin.split("://", 1)[-1] == host
    return local and same and name in LOOPBACK_NAMES
