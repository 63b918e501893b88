"""What asks a market and writes to it, by a connection for each question and each piece of work."""

from collections.abc import Callable
from typing import Any, Concatenate, ParamSpec, TypeVar

import polars as pl

from pricing.store.connection import Connect, Opened, Values, frame, run
from pricing.store.kept.answers import IdempotencyKey

Params = ParamSpec("Params")
Result = TypeVar("Result")
Work = Callable[Concatenate[Opened, Params], Result]


class Connected:
    """A market, or one kind of what it keeps; what comes of some writes is kept under ``idempotency``."""

    def __init__(self, connect: Connect, idempotency: IdempotencyKey | None = None) -> None:
        self._connect, self.idempotency = connect, idempotency

    def _ask(self, question: Work[Params, Result], *args: Params.args, **named: Params.kwargs) -> Result:
        with self._connect() as opened:
            return question(opened, *args, **named)

    def _write(self, work: Work[Params, Result], *args: Params.args, **named: Params.kwargs) -> Result:
        with self._connect(write=True) as opened:
            return work(opened, *args, **named)

    def _rows(self, query: str, values: Values = None) -> list[tuple[Any, ...]]:
        return self._ask(run, query, values)

    def _frame(self, query: str, values: Values = None) -> pl.DataFrame:
        return self._ask(frame, query, values)
