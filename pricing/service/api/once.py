"""Writes under an idempotency key: asked again they are answered again, and not done again."""

import hashlib
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Header
from starlette.responses import Response

from pricing.service.api.answers import Answer
from pricing.service.api.callers import Caller
from pricing.service.api.problems import ProblemError
from pricing.service.api.service import Service
from pricing.store import Market
from pricing.store_answers import KeptAnswer, keep_answer, kept_answer, key_held

Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=8,
        max_length=100,
        pattern=r"^[A-Za-z0-9._:-]+$",
        description="A word of your own for this piece of work, such as a UUID.",
    ),
]
REPLAYED = "Idempotency-Replayed"
"""Header of an answer that was given before."""


def once(
    service: Service, caller: Caller, key: str | None, asked: tuple[str | bytes, ...],
    work: Callable[[], Any], *, status: int = 201,
) -> Response:  # fmt: skip
    """Do a piece of work and answer with its facts; under a key only once.

    Args:
        asked: what was asked for, whole: the same key may not ask for something else.
        work: does it; its facts are the answer.

    Raises:
        ProblemError: 409 while the work of this key is being done, 422 for a key used for something else.
    """
    if key is None:
        return _done(service, work, status)
    market = Market.open(service.configuration.market)
    named = hashlib.sha256("\0".join((caller.name, key)).encode()).hexdigest()
    request = hashlib.sha256()
    for part in asked:
        content = part.encode() if isinstance(part, str) else part
        request.update(f"{len(content)}:".encode() + content)
    with key_held(market.path, named) as mine:
        if not mine:
            raise ProblemError(
                409, "the work under this key is being done; ask again in a while", retry_after="2"
            )
        kept = kept_answer(market.path, named)
        if kept is None:
            answer = _done(service, work, status)
            body = bytes(answer.body).decode()
            keep_answer(market.path, named, KeptAnswer(request.hexdigest(), answer.status_code, body))
            return answer
    if kept.request != request.hexdigest():
        raise ProblemError(422, "this key was used for something else; a new piece of work needs a new key")
    return Response(kept.content, kept.status, {REPLAYED: "true"}, "application/json")


def _done(service: Service, work: Callable[[], Any], status: int) -> Response:
    try:
        return Answer(work(), status)
    finally:
        service.held.forget()
