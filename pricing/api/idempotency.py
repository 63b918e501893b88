"""Writes under an idempotency key: asked again they are answered again, and not done again."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Header
from starlette.responses import Response

from pricing.api.answers import JsonAnswer
from pricing.api.middleware.callers import Caller, caller_who_may
from pricing.api.problems import HttpProblemError
from pricing.errors import DoneMeanwhileError
from pricing.store.kept.answers import IdempotencyKey
from pricing.store.market import Market

Facts = Mapping[str, Any]

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


@dataclass(frozen=True)
class Writer:
    """A caller who writes, and the key of the piece of work, if it has one."""

    caller: Caller
    key: str | None

    def once(
        self, market: Market, request: tuple[str | bytes, ...], work: Callable[[Market], Facts],
        answer: Callable[[Facts], Any] = dict, *, status: int = 201,
    ) -> Response:  # fmt: skip
        """Do a piece of work and answer with its facts; under a key only once.

        Args:
            market: what is written to.
            request: what was asked for, whole: the same key may not ask for something else.
            work: does it to the market that it is given, in one write, and says what came of it: names
                of what was made, which ``Market.under`` keeps in that same write.
            answer: the facts that are told, out of what came of the work, today or later.

        Raises:
            HttpProblemError: 409 while the work of this key is being done, 422 for a key used for something
                else.
        """
        if self.key is None:
            return JsonAnswer(answer(work(market)), status)
        digest = hashlib.sha256()
        for part in request:
            content = part.encode() if isinstance(part, str) else part
            digest.update(f"{len(content)}:".encode() + content)
        named = hashlib.sha256("\0".join((self.caller.name, self.key)).encode()).hexdigest()
        idempotency = IdempotencyKey(named, digest.hexdigest(), status)
        earlier = market.answers.kept(named)
        if earlier is None:
            with market.answers.key_held(named) as mine:
                if not mine:
                    raise HttpProblemError(
                        409, "the work under this key is being done; ask again in a while", retry_after="2"
                    )
                earlier = market.answers.kept(named)
                if earlier is None:
                    try:
                        return JsonAnswer(answer(work(market.under(idempotency))), status)
                    except DoneMeanwhileError:
                        earlier = market.answers.kept(named)
        if earlier is None or earlier.request != idempotency.request:
            raise HttpProblemError(
                422, "this key was used for something else; a new piece of work needs a new key"
            )
        again = JsonAnswer(answer(earlier.result), earlier.status)
        again.headers[REPLAYED] = "true"
        return again


def writer_who_may(act: str) -> Any:
    """A dependency that gives the writer, or refuses with 403 one whose role does not let it be done."""

    async def writer(caller: Annotated[Caller, Depends(caller_who_may(act))], key: Key = None) -> Writer:
        return Writer(caller, key)

    return Depends(writer)


Loader = Annotated[Writer, writer_who_may("load")]
