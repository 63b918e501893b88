"""Lists of cars as they come in, read into a frame: a long one in a process of its own, whose memory and time
are bounded, so that nothing anybody sends keeps the server from answering others."""

import json
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import IO, Any, Final

import polars as pl
import pyarrow as pa
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from pricing.api.micro_batch import SHORT
from pricing.api.problems import HttpProblemError
from pricing.api.schemas import Question, ValueQuestion
from pricing.car import READ_TYPES

SHORT_BODY: Final = 32_000
"""Bytes up to which a list is read at once: in a few thousandths of a second, whatever it holds."""

LARGEST_MEMORY: Final = 4 * 2**30
"""Bytes of address space that the reading process may take."""

LONGEST_SECONDS: Final = 30.0
"""That it may take for a list."""

_CAR_COLUMNS: Final = pl.DataFrame(schema=READ_TYPES | {"asking": pl.Decimal(18, 3)}).to_arrow().schema
"""Of a car in a list, as Arrow has them: it takes a column of Python's values, lists too, at once."""

_UNSAID: Final[list[Any]] = [[] if name == "options" else None for name in _CAR_COLUMNS.names]

_LENGTH: Final = 8
"""Bytes that say how long what follows is."""


Cars = Sequence[Mapping[str, Any]] | pl.DataFrame
"""A short list as it was said, or a long one as a frame."""


def frame_of(cars: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    """Cars as ``value_list`` takes them, a row each."""
    return pl.DataFrame(_table_of(cars))


class ListReader:
    """Reads lists of cars, the long ones one after another."""

    def __init__(self, most: int) -> None:
        """``most``: cars that a list may hold."""
        self._most = most
        self._turn = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def read(self, body: bytes) -> tuple[Question, Cars]:
        """What is asked of the list, and its cars; waits, and belongs on a thread unless the list is short.

        Raises:
            RequestValidationError: it is no list of cars.
            HttpProblemError: 422, it holds too many cars; 413, it takes more memory or time to read than any
                list of cars would.
        """
        if len(body) <= SHORT_BODY:
            try:
                question = ValueQuestion.model_validate_json(body)
            except ValidationError as error:
                raise RequestValidationError(_told(error)) from None
            self._refuse_many(len(question.cars))
            return question, question.cars
        with self._turn:
            said, table = self._by_process(body)
        found = json.loads(said)
        if "errors" in found:
            raise RequestValidationError(found["errors"])
        self._refuse_many(found.pop("count"))
        cars = pl.read_ipc_stream(BytesIO(table))
        return Question.model_validate(found), cars if cars.height > SHORT else cars.to_dicts()

    def _refuse_many(self, count: int) -> None:
        if count > self._most:
            raise HttpProblemError(422, f"a list has up to {self._most:,} cars; got {count:,}")

    def close(self) -> None:
        """End the reading process, if there is one."""
        with self._turn:
            self._end()

    def _end(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None

    def _by_process(self, body: bytes) -> tuple[bytes, bytes]:
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._process = subprocess.Popen(  # noqa: S603 - our own program
                [sys.executable, "-P", "-m", __name__, str(self._most)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
            )
        process = self._process
        if process.stdin is None or process.stdout is None:
            raise RuntimeError("a process without pipes")
        ends = threading.Timer(LONGEST_SECONDS, process.kill)
        ends.start()
        try:
            _send(process.stdin, body)
            return _next(process.stdout), _next(process.stdout)
        except (EOFError, BrokenPipeError):
            self._end()
            raise HttpProblemError(
                413, f"no list of cars takes so long to read, or so much memory: {len(body):,} bytes"
            ) from None
        finally:
            ends.cancel()


def answer(body: bytes, most: int) -> tuple[bytes, bytes]:
    """What the reading process says of a body: the question with its count of cars or the errors, as JSON;
    and the cars, unless there are more than ``most``, in Arrow's streaming format.

    >>> said, _ = answer(b'{"cars": [0, 0], "coverage": 0.8}', 50_000)
    >>> json.loads(said)["errors"][0]["loc"]
    ['body', 'cars', 0]
    """
    try:
        question = ValueQuestion.model_validate_json(body)
    except ValidationError as error:
        return json.dumps({"errors": _told(error)}).encode(), b""
    table = pa.BufferOutputStream()
    with pa.ipc.new_stream(table, _CAR_COLUMNS) as stream:
        stream.write_table(_table_of(question.cars if len(question.cars) <= most else []))
    said = question.model_dump(mode="json", exclude={"cars"}) | {"count": len(question.cars)}
    return json.dumps(said).encode(), table.getvalue().to_pybytes()


def _told(error: ValidationError) -> list[dict[str, Any]]:
    found = error.errors(include_url=False, include_context=False, include_input=False)
    return [{**wrong, "loc": ("body", *wrong["loc"])} for wrong in found]


def _table_of(cars: Sequence[Mapping[str, Any]]) -> pa.Table:
    columns = [
        pa.array([car.get(name, unsaid) for car in cars], kind)
        for name, kind, unsaid in zip(_CAR_COLUMNS.names, _CAR_COLUMNS.types, _UNSAID, strict=True)
    ]
    return pa.table(columns, _CAR_COLUMNS)


def _send(stream: IO[bytes], content: bytes) -> None:
    stream.write(len(content).to_bytes(_LENGTH))
    stream.write(content)
    stream.flush()


def _next(stream: IO[bytes]) -> bytes:
    length = stream.read(_LENGTH)
    content = stream.read(int.from_bytes(length))
    if len(length) < _LENGTH or len(content) < int.from_bytes(length):
        raise EOFError
    return content


def _read_on() -> None:
    """Answer bodies until there are no more, or the server is gone."""
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (LARGEST_MEMORY, LARGEST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    while True:
        try:
            body = _next(sys.stdin.buffer)
        except (EOFError, KeyboardInterrupt):
            return
        for part in answer(body, int(sys.argv[1])):
            _send(sys.stdout.buffer, part)


if __name__ == "__main__":
    _read_on()
