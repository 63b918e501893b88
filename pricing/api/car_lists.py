"""Lists of cars: read into a frame as they come in, a short one at once, a long one in a process of its own,
so that nothing anybody sends keeps the server from answering others; short ones that arrive while others are
being valued are valued together."""

import asyncio
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import IO, Any, Final

import polars as pl
import pyarrow as pa
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from pricing.api.problems import HttpProblemError
from pricing.api.schemas import Question, ValueQuestion
from pricing.car import READ_TYPES
from pricing.errors import FileError
from pricing.untrusted.door import read_untrusted
from pricing.untrusted.limits import Limits

SHORT_BODY: Final = 32_000
"""Bytes up to which a list is read at once: in three thousandths of a second at most, whatever it holds
(`tests/api/test_attacks.py`), where a process of its own would take ten times that."""
pa.array([0])  # imports what it needs, for a quarter of a second, here and not in each process that is forked

Cars = Sequence[Mapping[str, Any]] | pl.DataFrame
"""A short list as it was said, or a long one as a frame."""


def frame_of(cars: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    """Cars as ``value_list`` takes them, a row each."""
    schema = _car_columns()
    unsaid: dict[str, Any] = {"options": []}
    columns = [
        pa.array([car.get(name, unsaid.get(name)) for car in cars], kind)
        for name, kind in zip(schema.names, schema.types, strict=True)
    ]
    return pl.DataFrame(pa.table(columns, schema))


@cache
def _car_columns() -> pa.Schema:
    """Of a car in a list, as Arrow has them: it takes a column of Python's values, lists too, at once.

    Asked for when they are needed, as work of polars's before a process forks would stop the child.
    """
    return pl.DataFrame(schema=READ_TYPES | {"asking": pl.Decimal(18, 3)}).to_arrow().schema


def read_list(body: bytes, most: int) -> tuple[Question, Cars]:
    """What is asked of a list, and its cars; waits, and belongs on a thread unless the list is short.

    ``most``: cars that it may hold.

    Raises:
        RequestValidationError: it is no list of cars.
        HttpProblemError: 422, it holds too many cars; 413, it takes more memory or time to read than any list
            of cars would.
    """
    if len(body) <= SHORT_BODY:
        try:
            question = ValueQuestion.model_validate_json(body)
        except ValidationError as error:
            raise RequestValidationError(_errors_of(error)) from None
        _refuse_many(len(question.cars), most)
        return question, question.cars
    try:
        (answer,) = read_untrusted(listed, Path("the list"), content=body, most=most)
    except FileError as error:
        raise HttpProblemError(413, str(error)) from None
    request = answer.facts
    if "errors" in request:
        raise RequestValidationError(request["errors"])
    _refuse_many(request.pop("count"), most)
    cars = answer.frame
    return Question.model_validate(request), cars if cars.height > SHORT else cars.to_dicts()


def listed(
    source: str | IO[bytes], limits: Limits, most: int
) -> Iterator[tuple[dict[str, Any], pl.DataFrame | None]]:
    """What the reading process says of a body: the question with its count of cars, and the cars unless there
    are more than ``most``; or the errors.

    >>> from io import BytesIO
    >>> ((facts, _),) = listed(BytesIO(b'{"cars": [0, 0], "coverage": 0.8}'), Limits(), 50_000)
    >>> facts["errors"][0]["loc"]
    ['body', 'cars', 0]
    """
    body = Path(source).read_bytes() if isinstance(source, str) else source.read()
    try:
        question = ValueQuestion.model_validate_json(body)
    except ValidationError as error:
        yield {"errors": _errors_of(error)}, None
        return
    facts = question.model_dump(mode="json", exclude={"cars"}) | {"count": len(question.cars)}
    yield facts, frame_of(question.cars if len(question.cars) <= most else [])


def _refuse_many(count: int, most: int) -> None:
    if count > most:
        raise HttpProblemError(422, f"a list has up to {most:,} cars; got {count:,}")


def _errors_of(error: ValidationError) -> list[dict[str, Any]]:
    errors = error.errors(include_url=False, include_context=False, include_input=False)
    return [{**wrong, "loc": ["body", *wrong["loc"]]} for wrong in errors]


MOST_TOGETHER: Final = 256
"""Cars of one such list: more would make the first of them wait."""

SHORT: Final = 32
"""Cars up to which a list is short."""

GATHERING: Final = 0.008
"""Seconds between two lists of several callers, in which the loop answers those of the one and takes in those
of the next: about as long as a list takes."""

Work = Callable[[Any, Any], list[str]]
"""Values cars under one key (fit, date, coverage), a row a car, in their order: a sequence of them, or a long
list as it was asked for."""


@dataclass(frozen=True, eq=False)
class _Waiting:
    key: Any
    cars: Sequence[Any]
    answer: "asyncio.Future[list[str]]"


class MicroBatch:
    """Values lists of cars. A list costs little more than a car, so short lists of one key that arrive while
    others are being valued go together.

    They are valued on one thread, long lists on another, each in turn: the server's loop takes in and answers
    meanwhile, and never works itself.
    """

    def __init__(self, work: Work) -> None:
        self._work = work
        self._waiting: list[_Waiting] = []
        self._at_work = False
        self._short = ThreadPoolExecutor(1, thread_name_prefix="values")
        self._long = ThreadPoolExecutor(1, thread_name_prefix="lists")

    async def value(self, key: Any, cars: Any) -> list[str]:
        """The rows for these cars; raises what ``work`` raises."""
        loop = asyncio.get_running_loop()
        if len(cars) > SHORT:
            return await loop.run_in_executor(self._long, self._work, key, cars)
        waiting = _Waiting(key, cars, loop.create_future())
        self._waiting.append(waiting)
        if not self._at_work:
            self._at_work = True
            loop.call_soon(self._value_some, loop)
        return await waiting.answer

    def _value_some(self, loop: asyncio.AbstractEventLoop) -> None:
        """Hand the next list to the thread, if any is waited for."""
        taken = self._take()
        self._at_work = bool(taken)
        if not taken:
            return
        cars = [car for each in taken for car in each.cars]
        done = loop.run_in_executor(self._short, self._work, taken[0].key, cars)
        done.add_done_callback(partial(self._answer, loop, taken))

    def _answer(
        self, loop: asyncio.AbstractEventLoop, taken: list[_Waiting], done: "asyncio.Future[list[str]]"
    ) -> None:
        """Tell those who asked and wait still, and go on."""
        error = done.exception()
        start = 0
        for each in taken:
            end = start + len(each.cars)
            if each.answer.done():
                pass
            elif error is not None:
                each.answer.set_exception(error)
            else:
                each.answer.set_result(done.result()[start:end])
            start = end
        loop.call_later(GATHERING if len(taken) > 1 else 0.0, self._value_some, loop)

    def _take(self) -> list[_Waiting]:
        """The list that has waited longest, and others of its key."""
        waiting = [each for each in self._waiting if not each.answer.done()]
        taken: list[_Waiting] = []
        size = 0
        for each in waiting:
            if not taken or (each.key == taken[0].key and size + len(each.cars) <= MOST_TOGETHER):
                taken.append(each)
                size += len(each.cars)
        self._waiting = [each for each in waiting if each not in taken]
        return taken
